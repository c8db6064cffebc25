"""Substances that the packaged table does not have: the rules, not the table, must be right.

The libraries' values are read by the same rules as the packaged ones. What is compared with is
not read by them in the same way: vapour pressures from memory of handbooks and data sheets
(grade D), the CRC Handbook's boiling points and enthalpies as packaged with ``chemicals`` (a
regression, since they are one of the sources), and azeotropes of which the pair fit is not
told.

The limits are those of the goal: semi-volatiles within a factor of 2.2 or the stated 95 %
factor; solvents' vapour pressure within 3 % or the stated 95 % factor, their boiling point
within 0.5 K, their enthalpy of vaporisation within 3 %; azeotropes within 1 K and 0.05 mole
fraction for four in five pairs. Every case that was once left out is here, and more that were
written down before any was computed; a case that misses stands as ``xfail`` with its miss, and
fails the tests when it no longer does.

Limits of this evidence: the values from memory are no better than 10-20 % where handbooks
differ, and the rule that half the gap between a lone correlation and the boiling point is
doubt was written after disulfoton had been seen to miss threefold.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from chemicals import Tb, Tb_methods
from chemicals.phase_change import Hvap_data_CRC

from models import activity_pairs
from models.errors import Finding, UnknownSubstance
from models.mixture import azeotrope, bubble_point, build_system
from models.plausibility import lonely_boiling_point_fails, structure_evidence
from models.properties import describe_substance
from models.quantities import ATMOSPHERE, celsius
from models.substances import find_substance, packaged_substance, read_table
from models.volatility import boiling_temperature, pressure

# name, Pa at 25 degC of the liquid; handbooks and data sheets, from memory (D, medium-high)
SOLVENTS = [
    ("cumene", 610), ("n-propyl acetate", 4500), ("2-pentanone", 4700), ("1-nonanol", 3.1),
    ("fluorobenzene", 10300), ("bromobenzene", 555), ("dibutyl ether", 850),
    ("tetralin", 50), ("n-butylbenzene", 141), ("methyl propionate", 11500),
    ("1-decanol", 1.1), ("propionitrile", 6300), ("dimethyl carbonate", 7350),
    ("methylcyclopentane", 18300), ("1,1,1-trichloroethane", 16500), ("dibromomethane", 6000),
    ("furfural", 295), ("hexafluorobenzene", 11300), ("1-chlorobutane", 13500),
    ("iodomethane", 54000), ("bromoform", 725), ("2-butoxyethanol", 112),
]
# the same for semi-volatiles: Cousins and Mackay (2000), Mackay's handbook, data sheets (D)
SEMIVOLATILES = [
    ("1,3,5-trichlorobenzene", 77), ("1,2,3,4-tetrachlorobenzene", 6.0), ("4-chlorobiphenyl", 0.9),
    ("2-chlorobiphenyl", 2.0), ("dipropyl phthalate", 0.0174), ("dihexyl phthalate", 3.45e-4),
    ("diallyl phthalate", 0.0271), ("dibenzothiophene", 0.13), ("9-fluorenone", 0.06),
    ("2,6-dimethylnaphthalene", 2.0), ("1-methylphenanthrene", 0.045), ("p-cymene", 200),
    ("camphene", 400), ("myrcene", 280), ("3-carene", 270), ("3-nitrotoluene", 20),
    ("4-chlorophenol", 20), ("3-chlorophenol", 35), ("2,4,5-trichlorophenol", 4),
    ("n-nonadecane", 6.5e-3), ("diphenyl ether", 2.9),
    ("N-methylformamide", 34), ("triacetin", 0.33), ("DEET", 0.2), ("geosmin", 5),
    ("hexachlorocyclopentadiene", 8), ("safrole", 9), ("bisphenol A", 1e-5), ("triclosan", 1e-4),
]


# left out once, or written down before any was computed (same kind of source, same grade)
SOLVENTS += [
    ("1,1,2,2-tetrachloroethane", 620), ("diglyme", 395), ("cyclopentyl methyl ether", 5990),
    ("3-pentanone", 4710), ("cyclohexene", 11830), ("isobutyl acetate", 2380),
    ("ethyl formate", 32600), ("2-heptanone", 515), ("mesitylene", 330),
    ("2-methoxyethanol", 1270), ("diethyl carbonate", 1440),
]
SEMIVOLATILES += [
    ("methoxychlor", 6e-4), ("oleic acid", 1e-5), ("1-dodecanol", 0.113),
    ("1-tetradecanol", 0.0147), ("2-undecanone", 5.5), ("diphenylmethane", 1.1),
    ("methyl benzoate", 50), ("ethyl benzoate", 33), ("benzonitrile", 102), ("disulfoton", 0.013),
    ("phorate", 0.085), ("EPTC", 4.0), ("molinate", 0.7),
    ("2-ethyl-1-hexanol", 18), ("n-heneicosane", 7.3e-4), ("methyl myristate", 0.07),
]
# drawn later, common laboratory solvents; written down before any was computed
SOLVENTS += [
    ("ethyl propionate", 4970), ("n-butyl formate", 3840),
    ("tert-amyl methyl ether", 10000), ("1,3-dioxolane", 14600),
    ("tert-butylbenzene", 290), ("2-methylpentane", 28200), ("cyclooctane", 750),
    ("1-hexene", 24800), ("ethyl bromide", 62500), ("1-bromobutane", 5260),
    ("chlorocyclohexane", 1000),
    ("butyronitrile", 2550), ("acrylonitrile", 14500), ("nitroethane", 2790),
    ("diisopropylamine", 10700), ("piperidine", 4280), ("N-methylmorpholine", 2400),
    ("furan", 80000), ("thiophene", 10600), ("3-methyl-1-butanol", 315),
    ("2-methyl-2-butanol", 2190), ("2-ethoxyethanol", 710),
    ("acetylacetone", 930), ("2,6-lutidine", 750), ("3-picoline", 800), ("ethyl lactate", 500),
]
MISSES = {
    "diglyme": "303 Pa by the only source that reaches 25 degC, 0.75 of the value, stated 1.19",
    "3-methyl-1-butanol": "403 Pa by sources that agree, 1.28 of the value, stated 1.11",
    "ethyl lactate": "202 Pa, 0.40 of the value, stated 2.29; data sheets give about 220 Pa at "
    "20 degC",
    "oleic acid": "1.1e-4 Pa carried down from 450 K by two tables of the same measurements, "
    "11-fold, stated 3.6-fold; published values lie between 1e-6 and 7e-5 Pa",
}
"""What is computed today where a case misses its limit; one in twenty is what 95 % leave open."""


def marked(cases, misses):
    """The cases, those known to miss marked with their miss."""
    return [pytest.param(*case, marks=pytest.mark.xfail(strict=True, reason=misses[case[0]]))
            if case[0] in misses else case for case in cases]


@pytest.mark.parametrize(("name", "pascal"), marked(SOLVENTS, MISSES))
def test_solvent_vapour_pressures(name, pascal):
    assert packaged_substance(name) is None
    told = describe_substance(name, 298.15)
    gap = abs(math.log(told["vapour_pressure_pa"] / pascal))
    assert gap < max(math.log(1.03), math.log(told["vapour_pressure_factor_95"]))


@pytest.mark.parametrize(("name", "pascal"), marked(SEMIVOLATILES, MISSES))
def test_semivolatiles_are_near_or_widely_doubted(name, pascal):
    assert packaged_substance(name) is None
    told = describe_substance(name, 298.15)
    gap = abs(math.log(told["vapour_pressure_pa"] / pascal))
    assert gap < max(math.log(2.2), math.log(told["vapour_pressure_factor_95"]))


def test_doubt_is_not_bought_wholesale():
    """Half of the semi-volatiles are stated within a factor of two, or the factor says nothing."""
    factors = [describe_substance(name, 298.15)["vapour_pressure_factor_95"]
               for name, _ in SEMIVOLATILES if name not in MISSES]
    assert np.mean(np.array(factors) < 2.0) >= 0.5


def handbook_sample():
    """Every fifth liquid of the CRC table of enthalpies that boils at 27-247 degC.

    Numbers without a name or a molar mass in the libraries are no substance one can ask for.
    """
    cas = [c for c in Hvap_data_CRC.index if packaged_substance(c) is None][::5]
    return [c for c in cas if "CRC_ORG" in Tb_methods(c)
            and 300.0 < Tb(c, method="CRC_ORG") < 520.0 and c not in NAMELESS]


NAMELESS = ("20089-07-0", "55156-16-6")
TROUTON = (60.0, 135.0)
"""J/(mol K), entropies of vaporisation at the boiling point between those of acetic acid (a dimer)
and of the glycols (common knowledge); one of the handbook's is 185."""


def published_boiling_point(cas):
    """K: the CRC Handbook's, unless three other published values agree on another within 2 K."""
    crc = Tb(cas, method="CRC_ORG")
    others = [Tb(cas, method=m) for m in Tb_methods(cas)
              if m in {"COMMON_CHEMISTRY", "WEBBOOK", "YAWS", "WIKIDATA"}]
    agreed = len(others) >= 3 and np.ptp(others) < 2.0 and abs(np.median(others) - crc) > 3.0
    return float(np.median(others)) if agreed else crc


LIQUIDS = handbook_sample()


def test_some_boiling_points_of_the_handbook_are_contradicted():
    """Three other sources say so, and the temperatures of its own table of enthalpies."""
    corrected = [c for c in LIQUIDS if published_boiling_point(c) != Tb(c, method="CRC_ORG")]
    assert set(corrected) == {"105-30-6", "106-73-0", "108-82-7", "116-54-1"}
    for c in corrected:
        own = float(Hvap_data_CRC.loc[c, "Tb"])
        assert math.isnan(own) or abs(own - published_boiling_point(c)) < 3.0


@pytest.mark.parametrize("cas", LIQUIDS)
def test_boiling_points_of_the_handbook(cas):
    """Published, as packaged (regression): within 0.5 K."""
    found = boiling_temperature(find_substance(cas).ln_p, ATMOSPHERE)
    assert found == pytest.approx(published_boiling_point(cas), abs=0.5)


@pytest.mark.parametrize("cas", NAMELESS)
def test_a_number_without_a_substance_is_said(cas):
    with pytest.raises(UnknownSubstance, match=f"under the CAS number {cas}"):
        find_substance(cas)


def enthalpies():
    """(CAS number, column, T in K) of every enthalpy the handbook has of the sample."""
    rows = [(c, column, float(Hvap_data_CRC.loc[c, "Tb"]) if column == "HvapTb" else 298.15)
            for c in LIQUIDS for column in ("HvapTb", "Hvap298")
            if math.isfinite(float(Hvap_data_CRC.loc[c, column]))]
    return [(c, column, T) for c, column, T in rows if column == "Hvap298"
            or TROUTON[0] < float(Hvap_data_CRC.loc[c, column]) / T < TROUTON[1]]


@pytest.mark.parametrize(("cas", "column", "T"), enthalpies())
def test_enthalpies_of_the_handbook(cas, column, T):
    """CRC Handbook as packaged (regression, where no correlation exists): within 3 %."""
    found = float(find_substance(cas).h_vap @ [1.0, T, T * T])
    assert found == pytest.approx(float(Hvap_data_CRC.loc[cas, column]), rel=0.03)


def test_the_sample_of_the_handbook_is_large_and_mostly_met():
    """What is marked as missing must stay the exception."""
    assert len(LIQUIDS) > 90
    assert len(enthalpies()) > 100
    assert len(MISSES) <= 0.05 * (len(SOLVENTS) + len(SEMIVOLATILES))


def untold_azeotropes(rows):
    """Gaps [pairs, 3] between each row and what groups alone predict, told of no azeotrope.

    In K, in mole fraction, and by how many K the listed composition boils above the azeotrope that
    is predicted.
    """
    with pytest.MonkeyPatch.context() as untold:
        untold.setattr(activity_pairs, "_azeotrope_table", list)
        untold.setattr(activity_pairs, "_packaged", dict)
        untold.setattr(activity_pairs, "_fitted", {})
        return np.array([azeotrope_gap(row) for row in rows])


def azeotrope_gap(row):
    system = build_system([(row["first"], 0.5), (row["second"], 0.5)], None, [])
    found = azeotrope(system, ATMOSPHERE)
    if found is None:
        return math.inf, math.inf, math.inf
    x = float(row["x_first"])
    listed = bubble_point(system, np.array([x, 1.0 - x]), ATMOSPHERE)
    return (abs(celsius(found.temperature) - float(row["temperature_c"])),
            abs(float(found.x[0]) - x), abs(listed.temperature - found.temperature))


@pytest.fixture(scope="module")
def gaps_of_the_table():
    """Of every packaged azeotrope at atmospheric pressure."""
    return untold_azeotropes([row for row in read_table("azeotropes.csv")
                              if float(row["pressure_pa"]) == ATMOSPHERE])


PRINTED = Path(__file__).parents[1] / "data" / "published" / "azeotropes_printed.csv"


def test_azeotropes_seen_in_print_without_being_told():
    """Lange 10th, CRC 44th in reprinted tables (B): 14 of 15 within 1 K and 0.05; goal 80 %."""
    printed = list(csv.DictReader(PRINTED.read_text("utf-8").splitlines()))
    gaps = untold_azeotropes(printed)
    assert len(gaps) == 15
    assert np.mean(np.all(gaps[:, :2] <= [1.0, 0.05], axis=1)) >= 0.8


@pytest.mark.slow
@pytest.mark.xfail(strict=True, reason="66 of 87 pairs, 75.9 %, where 80 % are asked; five "
                   "published parameter sets meet 55 to 64, their median 68, and all of them miss "
                   "the same eleven, most of whose listed values are from memory")
def test_azeotropes_from_memory_without_being_told(gaps_of_the_table):
    """Modified UNIFAC from groups alone, against data/azeotropes.csv (most of them D)."""
    gaps = gaps_of_the_table
    assert np.mean(np.all(gaps[:, :2] <= [1.0, 0.05], axis=1)) >= 0.8


@pytest.mark.slow
def test_azeotropes_without_being_told_where_flat_ones_count_by_temperature(gaps_of_the_table):
    """M5: within 1 K and 0.05, "flat ones: T only": 72 of 87, 82.8 %.

    Flat is an azeotrope whose boiling point and that of the listed composition differ by less
    than 0.1 K: no still tells them apart (handbooks round to 0.1 K).
    """
    gaps = gaps_of_the_table
    met = (gaps[:, 0] <= 1.0) & ((gaps[:, 1] <= 0.05) | (gaps[:, 2] < 0.1))
    assert np.mean(met) >= 0.8


@pytest.mark.slow
def test_azeotropes_without_being_told_are_seldom_far_off(gaps_of_the_table):
    """Regression: 78 of 87 pairs lie within 2 K and 0.1 mole fraction (90 %, no goal)."""
    gaps = gaps_of_the_table
    assert len(gaps) == 87
    assert np.mean(np.all(gaps[:, :2] <= [2.0, 0.1], axis=1)) >= 0.89


def test_a_boiling_point_at_reduced_pressure_is_seen_through():
    """Diallyl phthalate: 165 degC is listed without its pressure (about 7 mbar)."""
    notes: list[str] = []
    smiles = "C=CCOC(=O)c1ccccc1C(=O)OCC=C"
    assert lonely_boiling_point_fails(438.15, 13.0, smiles, notes)
    assert "reduced pressure" in notes[0]
    assert not lonely_boiling_point_fails(590.0, 13.0, smiles, notes)
    assert not lonely_boiling_point_fails(438.15, 0.2, smiles, notes), "two sources are believed"
    found = find_substance("diallyl phthalate")
    assert found.sources["vapour pressure"].startswith("estimated")
    assert any("reduced pressure" in w for w in found.warnings)


@pytest.mark.parametrize("name", ["triacetin", "DEET"])
def test_a_lonely_correlation_far_off_is_doubted(name):
    """The only correlation is a hundredfold or more too high for both."""
    found = find_substance(name)
    assert any("fold from what" in w for w in found.warnings)
    assert found.ln_p_sd > 0.5


@pytest.mark.parametrize("name", ["naphthalene", "n-decane", "anisole", "methyl laurate"])
def test_structure_alone_covers_the_truth(name):
    known = find_substance(name)
    guess = structure_evidence(known.smiles)
    gap = math.log(guess.pressure) - math.log(float(pressure(known.ln_p, guess.temperature)))
    assert abs(gap) < 2.0 * guess.sd


def test_an_unlisted_pair_says_how_it_was_found():
    system = build_system([("dibutyl ether", 0.5), ("1-nonanol", 0.5)], None, [])
    assert all(isinstance(f, Finding) for f in system.findings)
    assert np.all(np.isfinite(system.nrtl_b))
    assert np.any(system.nrtl_a != 0.0)


@pytest.mark.parametrize("name", ["naphthalene", "dichloromethane", "2,4-dimethylphenol",
                                  "fluorobenzene"])
def test_the_data_points_lie_on_the_curve(name):
    """Each within five sd of its own curve, ten per cent at least, above 290 K."""
    told = describe_substance(name)
    curve = find_substance(name)
    assert len(told["points"]) >= 5
    assert all(p["source"] for p in told["points"])
    for point in told["points"]:
        if point["temperature_c"] > 17.0:
            fitted = float(pressure(curve.ln_p, point["temperature_c"] + 273.15))
            assert abs(math.log(point["pressure_pa"] / fitted)) < max(0.1, 5 * curve.ln_p_sd)


@pytest.mark.parametrize(("name", "pascal", "factor"), [
    ("2,2,2-trifluoroethanol", 9500, 1.1), ("decanoic acid", 0.05, 2.0), ("fenthion", 7e-4, 1.5),
    ("diethylamine", 31300, 1.03), ("dimethoxymethane", 53100, 1.03), ("octanoic acid", 0.5, 1.3)])
def test_what_a_stranger_asked_for(name, pascal, factor):
    """Handbooks and data sheets, from memory (D): found wrong or doubtful before, or right."""
    told = describe_substance(name, 298.15)
    assert abs(math.log(told["vapour_pressure_pa"] / pascal)) < math.log(factor)


def test_a_correlation_that_hardly_rises_is_none():
    """Trifluoroethanol: one packaged correlation gives 1.3e9 Pa from 353 to 454 K."""
    found = find_substance("2,2,2-trifluoroethanol")
    assert any("impossible pressures" in w for w in found.warnings)
    assert "LANDOLT" not in found.sources["vapour pressure"]


def test_far_extrapolations_of_two_sources_are_doubted():
    """Palmitic acid: data above 427 K, two sources whose slopes differ by a seventh.

    Carried down they are 40-fold above what the boiling point suggests. About 5.6e-5 Pa are
    published for the liquid (from memory, D medium).
    """
    told = describe_substance("palmitic acid", 298.15)
    assert abs(math.log(told["vapour_pressure_pa"] / 5.6e-5)) < math.log(
        told["vapour_pressure_factor_95"])
