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

import math

import numpy as np
import pytest
from chemicals import Tb, Tb_methods
from chemicals.phase_change import Hvap_data_CRC

from models import activity_pairs
from models.errors import Finding
from models.mixture import azeotrope, build_system
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
    ("phorate", 0.085), ("ethion", 2e-4), ("EPTC", 4.0), ("molinate", 0.7),
    ("2-ethyl-1-hexanol", 18), ("n-heneicosane", 7.3e-4), ("methyl myristate", 0.07),
]
MISSES = {
    "diglyme": "303 Pa by the only source that reaches 25 degC, 0.75 of the value, stated 1.19",
    "isobutyl acetate": "2549 Pa, 1.07 of the value; two sources say 2389, one 2609; stated 1.05",
    "methoxychlor": "9e-3 Pa from a boiling point of decomposition, 15-fold, stated 12.6-fold; "
    "published values of the solid differ twofold",
    "oleic acid": "1.3e-4 Pa carried down from 450 K, 13-fold, stated 3.4-fold; published values "
    "lie between 1e-6 and 7e-5 Pa",
    "ethion": "the libraries do not know the name",
}
"""What is computed today where a case misses its limit."""


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
    assert np.median(factors) < 2.0


def handbook_sample():
    """Every fifth liquid of the CRC table of enthalpies that boils at 27-247 degC."""
    cas = [c for c in Hvap_data_CRC.index if packaged_substance(c) is None][::5]
    return [c for c in cas if "CRC_ORG" in Tb_methods(c)
            and 300.0 < Tb(c, method="CRC_ORG") < 520.0]


BOILING_MISSES = {
    "105-30-6": "9.0 K below the CRC's 157 degC, which three other sources contradict as well",
    "108-82-7": "16 K below the CRC's 193 degC, which three other sources contradict as well",
    "116-54-1": "16 K above the CRC's 127 degC, which three other sources contradict as well",
    "26171-83-5": "5.9 K below the CRC's 196 degC; the other source agrees with us",
    "20089-07-0": "not among the names the libraries know",
    "55156-16-6": "not among the names the libraries know",
}
ENTHALPY_MISSES = {
    ("116-54-1", "HvapTb"): "3.1 % high, at a boiling point that is 16 K off in the CRC",
    ("26171-83-5", "Hvap298"): "3.4 % low",
    ("590-67-0", "HvapTb"): "the CRC's 79 kJ/mol at the boiling point cannot be, 49 % apart",
}
LIQUIDS = handbook_sample()


def liquids():
    return [pytest.param(c, marks=pytest.mark.xfail(strict=True, reason=BOILING_MISSES[c]))
            if c in BOILING_MISSES else c for c in LIQUIDS]


@pytest.mark.parametrize("cas", liquids())
def test_boiling_points_of_the_handbook(cas):
    """CRC Handbook as packaged (regression): within 0.5 K."""
    found = boiling_temperature(find_substance(cas).ln_p, ATMOSPHERE)
    assert found == pytest.approx(Tb(cas, method="CRC_ORG"), abs=0.5)


def enthalpies():
    """(CAS number, column) of every enthalpy the handbook has of the sample."""
    known = [c for c in LIQUIDS if c not in BOILING_MISSES or "names" not in BOILING_MISSES[c]]
    pairs = [(c, column) for c in known for column in ("HvapTb", "Hvap298")
             if math.isfinite(float(Hvap_data_CRC.loc[c, column]))]
    return [pytest.param(*p, marks=pytest.mark.xfail(strict=True, reason=ENTHALPY_MISSES[p]))
            if p in ENTHALPY_MISSES else p for p in pairs]


@pytest.mark.parametrize(("cas", "column"), enthalpies())
def test_enthalpies_of_the_handbook(cas, column):
    """CRC Handbook as packaged (regression, where no correlation exists): within 3 %."""
    T = Tb(cas, method="CRC_ORG") if column == "HvapTb" else 298.15
    found = float(find_substance(cas).h_vap @ [1.0, T, T * T])
    assert found == pytest.approx(float(Hvap_data_CRC.loc[cas, column]), rel=0.03)


def test_the_sample_of_the_handbook_is_large_and_mostly_met():
    """What is marked as missing must stay the exception."""
    assert len(LIQUIDS) > 90
    assert len(BOILING_MISSES) + len(ENTHALPY_MISSES) < 0.1 * len(LIQUIDS)
    assert len(MISSES) < 0.1 * (len(SOLVENTS) + len(SEMIVOLATILES))


def untold_azeotropes(monkeypatch):
    """Gaps in K and in mole fraction of every listed pair, predicted from groups alone."""
    monkeypatch.setattr(activity_pairs, "_azeotrope_table", list)
    monkeypatch.setattr(activity_pairs, "_packaged", dict)
    monkeypatch.setattr(activity_pairs, "_fitted", {})
    gaps = []
    for row in read_table("azeotropes.csv"):
        if float(row["pressure_pa"]) != ATMOSPHERE:
            continue
        pair = [(row["first"], 0.5), (row["second"], 0.5)]
        found = azeotrope(build_system(pair, None, []), ATMOSPHERE)
        gaps.append((math.inf, math.inf) if found is None else (
            abs(celsius(found.temperature) - float(row["temperature_c"])),
            abs(float(found.x[0]) - float(row["x_first"]))))
    return np.array(gaps)


@pytest.mark.slow
@pytest.mark.xfail(strict=True, reason="66 of 87 pairs, 75.9 %, where 80 % are asked")
def test_azeotropes_without_being_told(monkeypatch):
    """Modified UNIFAC from groups alone, against data/azeotropes.csv (B and D): the goal."""
    gaps = untold_azeotropes(monkeypatch)
    assert np.mean(np.all(gaps <= [1.0, 0.05], axis=1)) >= 0.8


@pytest.mark.slow
def test_azeotropes_without_being_told_are_seldom_far_off(monkeypatch):
    """Regression: 78 of 87 pairs lie within 2 K and 0.1 mole fraction (90 %, no goal)."""
    gaps = untold_azeotropes(monkeypatch)
    assert len(gaps) == 87
    assert np.mean(np.all(gaps <= [2.0, 0.1], axis=1)) >= 0.89


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
