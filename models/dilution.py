"""Analytes at infinite dilution: ln(gamma) in each solvent and in mixtures of two.

Modified UNIFAC (Dortmund) where it has every pair and the original does not contradict it
threefold; the difference between the two is part of the uncertainty, because it is the best
measure of it (naphthalene in dichloromethane: gamma 0.6 against 1.5). Where they contradict each
other or one lacks a pair, both versions with completed interactions are heard too and the median
of ln(gamma) counts (phenol in methanol: 8.9 and 0.53, with the others 0.61; in dichloromethane:
16.5 alone, with the others 2.9). Without groups a stated guess of zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from models.activity import COMPLETED, MODELS, Model, covers, group_model
from models.errors import Finding, ModelError
from models.substances import Substance
from models.system import GAMMA_REFERENCE_TEMPERATURE, Array

MODEL_SD = 0.25
"""ln units; scatter of UNIFAC at infinite dilution where the models agree (common practice)."""
IDEAL_SD = 0.9
MOST_SD = 1.2
THREEFOLD = np.log(3.0)
DILUTE = 1e-7
WATER = "7732-18-5"


@dataclass(frozen=True, eq=False)
class AnalyteDilution:
    """ln_gamma [S] and pair terms [S, S] (upper triangle) at 313.15 K, and sd.

    ``ideal`` names the liquids in which nothing better than an ideal solution is known,
    ``contradicted`` those for which the models contradict each other.
    """

    ln_gamma: Array
    pair: Array
    sd: float
    ideal: tuple[str, ...] = ()
    contradicted: tuple[str, ...] = ()


def _at_dilution(solute: Substance, liquids: tuple[Substance, ...], x: Array,
                 model: Model) -> float:
    mixture = group_model((solute, *liquids), model)
    fractions = np.concatenate([[DILUTE], (1.0 - DILUTE) * x])
    return float(mixture.ln_gamma(fractions, GAMMA_REFERENCE_TEMPERATURE)[0])


@lru_cache(maxsize=4096)
def _single(solute: Substance, liquid: Substance) -> tuple[float, float, str]:
    """ln(gamma), sd and the model used for one analyte in one solvent: "dortmund", "median" of
    several, "ideal" or "pure".
    """
    if solute.cas == liquid.cas:
        return 0.0, 0.0, "pure"
    values = {m: _at_dilution(solute, (liquid,), np.array([1.0]), m) for m in MODELS
              if covers((solute, liquid), m)}
    if len(values) == 2:
        spread = abs(values["dortmund"] - values["original"])
        if spread <= THREEFOLD:
            return values["dortmund"], float(np.hypot(MODEL_SD, 0.5 * spread)), "dortmund"
    values |= {m: _at_dilution(solute, (liquid,), np.array([1.0]), m) for m in COMPLETED
               if covers((solute, liquid), m)}
    if not values:
        return 0.0, IDEAL_SD, "ideal"
    heard = list(values.values())
    sd = float(np.std(heard)) if len(heard) > 1 else IDEAL_SD
    return float(np.median(heard)), min(MOST_SD, float(np.hypot(MODEL_SD, sd))), "median"


@lru_cache(maxsize=8192)
def _pair_term(solute: Substance, first: Substance, second: Substance) -> float:
    """Q in ln(gamma) = x1 g1 + x2 g2 + x1 x2 q, from the equimolar mixture."""
    for model in (*MODELS, *COMPLETED):
        if covers((solute, first, second), model):
            half = _at_dilution(solute, (first, second), np.array([0.5, 0.5]), model)
            ends = [_at_dilution(solute, (s,), np.array([1.0]), model) for s in (first, second)]
            return 4.0 * (half - 0.5 * sum(ends))
    return 0.0


def dilution(name: str, cas: str, known: Substance | None,
             liquids: tuple[Substance, ...]) -> AnalyteDilution:
    """Activity of an analyte in every solvent and pair of solvents.

    Raises
    ------
    ModelError
        When water is among the solvents and the analyte has no activity coefficient in it.
    """
    solute = known if known is not None else _groups_only(name, cas)
    n = len(liquids)
    if solute is None:
        if any(s.cas == WATER for s in liquids):
            raise _refused(name)
        return AnalyteDilution(np.zeros(n), np.zeros((n, n)), IDEAL_SD,
                               tuple(s.name for s in liquids))
    rows = [_single(solute, s) for s in liquids]
    if any(s.cas == WATER and row[2] == "ideal" for s, row in zip(liquids, rows, strict=True)):
        raise _refused(name)
    pair = np.zeros((n, n))
    for i in range(n):
        for j in range(i + 1, n):
            pair[i, j] = _pair_term(solute, liquids[i], liquids[j])
    ideal = [s.name for s, row in zip(liquids, rows, strict=True) if row[2] == "ideal"]
    heard = [s.name for s, row in zip(liquids, rows, strict=True) if row[2] == "median"]
    sd = float(np.sqrt(np.mean([row[1] ** 2 for row in rows])))
    return AnalyteDilution(np.array([row[0] for row in rows]), pair, sd, tuple(ideal),
                           tuple(heard))


def activity_findings(found: Mapping[str, AnalyteDilution]) -> list[Finding]:
    """What to know of the analytes (name -> found); those alike in the same liquids together."""
    contradicted = _together({name: item.contradicted for name, item in found.items()})
    ideal = _together({name: item.ideal for name, item in found.items()})
    return [
        *(Finding(
            "activity_models_disagree", "info",
            f"{', '.join(names)} in {', '.join(liquids)}: the activity models differ more than "
            "threefold, or modified UNIFAC lacks a pair of groups; their median is taken.",
            "Trials settle it.") for liquids, names in contradicted.items()),
        *(Finding(
            "ideal_analyte", "caution",
            f"{', '.join(names)} in {', '.join(liquids)}: taken as ideally dissolved, because "
            "groups or their interactions are not known; the volatility is less certain.",
            "Trials settle it; plan a replicate.") for liquids, names in ideal.items()),
    ]


def _together(of: Mapping[str, tuple[str, ...]]) -> dict[tuple[str, ...], list[str]]:
    """The names with the same liquids; names without any are left out."""
    together: dict[tuple[str, ...], list[str]] = {}
    for name, liquids in of.items():
        if liquids:
            together.setdefault(liquids, []).append(name)
    return together


def _groups_only(name: str, cas: str) -> Substance | None:
    """The library's entry for a new analyte whose own data replace the vapour pressure."""
    from models.structure import groups_by_name

    found = groups_by_name(cas or name)
    return None if found is None else replace(found, name=name)


def _refused(name: str) -> ModelError:
    return ModelError(
        f"No activity coefficient of {name} in water is known, and an ideal forecast would be "
        "wrong a thousandfold.",
        "Leave water out: an extract that does not mix with water is dried over sodium sulfate; "
        "one in methanol, acetonitrile or acetone needs another solvent. Or leave the analyte "
        "to a job without water.")
