"""Cautions: what a job's substances call for, and what they do not."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from models.cautions import cautions, is_peroxide_former
from models.substances import find_substance

DATA = Path(__file__).parents[1] / "data" / "published"


def found(solvents, keepers=(), analytes=(), **options):
    return {f.code: f for f in cautions(solvents, keepers, analytes, **options)}


# F1, grade A: Cornell Chemical Hygiene Plan appendix J; Ohio University list B
@pytest.mark.parametrize("name", [
    "diethyl ether", "THF", "tetrahydrofuran", "109-99-9", "1,4-dioxane", "2-propanol", "IPA",
    "2-butanol", "MIBK", "1,2-dimethoxyethane", "diisopropyl ether", "cyclohexene", "110-83-8"])
def test_peroxide_formers(name):
    cas = find_substance(name).cas
    assert is_peroxide_former(cas)
    assert is_peroxide_former(name) or name == "cyclohexene"


@pytest.mark.parametrize("name", ["toluene", "n-hexane", "methanol", "ethyl acetate", "acetone"])
def test_others_form_no_peroxides(name):
    assert not is_peroxide_former(name)


def test_dryness_of_a_peroxide_former_needs_a_test():
    """F2, grade A (Virginia Tech EHS): never to dryness, leave 10 %, test first."""
    stop = found(["THF"])["peroxide_former"]
    assert stop.severity == "stop"
    assert "10 %" in stop.cure
    tested = found(["THF"], peroxide_test="< 3 ppm, 2026-01-10")["peroxide_former"]
    assert tested.severity == "caution"
    wet = found(["THF"], "n-dodecane", to_dryness=False)["peroxide_former"]
    assert wet.severity == "caution"


def test_list_a_is_never_dried():
    answer = found(["diisopropyl ether"], peroxide_test="0 ppm, today")
    assert answer["peroxide_former"].severity == "stop"


# F7, grade A: IEC 60079-20-1 (2010) flash/ignition, and the lower NFPA 497 figures
@pytest.mark.parametrize(("name", "flash", "ignition"), [
    ("acetone", -20, 465), ("n-hexane", -23, 225), ("n-heptane", -7, 204),
    ("diethyl ether", -45, 160), ("carbon disulfide", -30, 90), ("1,4-dioxane", 11, 180),
    ("THF", -14, 230), ("methanol", 9, 385), ("toluene", 4, 480)])
def test_the_lower_flash_and_ignition_figure(name, flash, ignition):
    substance = find_substance(name)
    assert substance.flash_temperature - 273.15 == pytest.approx(flash, abs=0.6)
    assert substance.ignition_temperature - 273.15 == pytest.approx(ignition, abs=0.6)
    text = found([name])["flammable"].message
    assert "IEC 60079-20-1" in text or "NFPA 497" in text


def test_lower_figure_over_the_whole_table():
    """solvents.csv, grade A: never above either standard."""
    rows = csv.DictReader((DATA / "solvents.csv").read_text("utf-8").splitlines())
    for row in rows:
        for key, attribute in (("T_flash", "flash_temperature"),
                               ("T_autoignition", "ignition_temperature")):
            figures = [float(row[f"{s}_{key}"]) for s in ("IEC", "NFPA") if row[f"{s}_{key}"]]
            if figures:
                ours = getattr(find_substance(row["CAS"]), attribute) - 273.15
                assert ours == pytest.approx(min(figures), abs=0.6), row["solvent"]


def test_negative_flammable_limit_is_dropped():
    """chemicals stores -0.009 for 1-octanol."""
    substance = find_substance("1-octanol")
    assert not substance.lower_flammable_limit <= 0
    assert any("not positive" in w for w in substance.warnings)


def test_not_flammable_is_not_called_flammable():
    assert "flammable" not in found(["dichloromethane"])
    assert "flammable" not in found(["water"])


@pytest.mark.parametrize("analyte", [
    "2,4,6-trinitrotoluene", "TNT", "nitrobenzene", "2,4-DNT", "RDX", "1,3-dinitrobenzene",
    "picric acid", "4-nitrophenol"])
def test_energetic_residues_stop_the_job(analyte):
    answer = found(["acetonitrile"], (), [analyte])["energetic_residue"]
    assert answer.severity == "stop"
    assert "named person" in answer.cure


def test_perchloric_acid_stops_but_perchloroethylene_does_not():
    assert found(["methanol"], (), ["perchloric acid"])["perchloric_acid"].severity == "stop"
    assert "perchloric_acid" not in found(["perchloroethylene"])


def test_azide_with_dichloromethane_stops():
    assert found(["DCM"], (), ["sodium azide"])["azide_halogenated"].severity == "stop"
    assert found(["methanol"], (), ["benzyl azide"])["energetic_residue"].severity == "stop"


def test_chloroform_with_acetone_and_base():
    """F3, grade A: Prudent Practices 1995 p. 283."""
    assert found(["chloroform", "acetone"])["chloroform_acetone"].severity == "caution"
    stop = found(["chloroform", "acetone", "triethylamine"])["chloroform_acetone"]
    assert stop.severity == "stop"
    assert "trap" in stop.message


def test_dmf_with_halogenated_or_oxidants():
    """F4, grade A: Org. Process Res. Dev. 2020, 24, 1586 (abstract)."""
    assert "amide_incompatible" in found(["DMF", "DCM"])
    assert "amide_incompatible" in found(["DMF"], (), ["hydrogen peroxide"])
    assert "amide_incompatible" in found(["DMF"], (), ["trichloroethylene"])
    assert "amide_incompatible" not in found(["DMF", "methanol"])


@pytest.mark.parametrize("solvent", ["DCM", "chloroform", "1,2-dichloroethane", "chlorobenzene"])
def test_halogenated_solvents_go_to_their_own_waste(solvent):
    """Common practice, no source; by structure, whatever the solvent."""
    assert "halogenated waste" in found([solvent])["halogenated"].cure


@pytest.mark.parametrize("solvent", ["ethyl acetate", "water", "n-hexane", "acetonitrile"])
def test_other_solvents_are_not_called_halogenated(solvent):
    assert "halogenated" not in found([solvent])


def test_dichloromethane_with_amines():
    """F5, grade D (medium): warning only."""
    assert found(["DCM", "pyridine"])["dichloromethane_amine"].severity == "caution"


def test_a_trap_with_liquid_nitrogen_may_condense_oxygen():
    """F6, grade A: Prudent Practices 1981, I.A.10."""
    warm, cold = (cautions(["n-hexane"], (), [], condenser_temperature_k=T) for T in (195, 77))
    assert "cold_trap" not in {f.code for f in warm}
    assert "oxygen" in next(f.message for f in cold if f.code == "cold_trap")


@pytest.mark.parametrize("analyte", ["benzidine", "3,3'-dichlorobenzidine", "2-naphthylamine",
                                     "4-chloroaniline"])
def test_aromatic_amines_may_be_oxidised(analyte):
    """T8, grade B: EPA Method 625, section 1.2, says it of benzidine in dichloromethane."""
    answer = found(["dichloromethane"], (), [analyte])["oxidation"]
    assert answer.severity == "caution"
    assert "oxidation" in answer.message


@pytest.mark.parametrize("analyte", ["naphthalene", "benzylamine", "acetanilide", "diphenylamine"])
def test_other_analytes_are_not_called_oxidised(analyte):
    assert "oxidation" not in found(["dichloromethane"], (), [analyte])


def test_carbon_disulfide_acids_and_ammonia():
    assert "90 degC" in found(["carbon disulfide"])["carbon_disulfide"].message
    assert "acid_vapour" in found(["acetonitrile", "TFA"])
    assert "acid_vapour" in found(["water"], (), ["hydrochloric acid"])
    assert "ammonia_vapour" in found(["water"], (), ["ammonia"])


@pytest.mark.parametrize("name", ["cyclohexane", "benzene", "1,4-dioxane", "tert-butanol", "water",
                                  "acetic acid", "dimethyl sulfoxide"])
def test_freezing_solvents(name):
    """F8, triple points, grade C."""
    assert "freez" in found([name], peroxide_test="ok")["freezing"].message.lower()


def test_solvents_that_stay_liquid():
    assert "freezing" not in found(["acetone", "toluene", "dichloromethane"])


def test_unknown_analytes_are_handled_gently():
    answer = found(["acetone"], (), ["Compound N", "naphthalene"])["unknown_stability"]
    assert "Compound N" in answer.message
    assert "naphthalene" not in answer.message


def test_every_caution_has_a_cure():
    everything = cautions(["THF", "chloroform", "acetone", "water", "DMF", "carbon disulfide"],
                          "1-octanol", ["TNT", "perchloric acid", "sodium azide", "ammonia"])
    assert len(everything) > 8
    assert all(f.cure and f.severity in {"caution", "stop"} for f in everything)
