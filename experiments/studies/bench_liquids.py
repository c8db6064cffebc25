"""Solvents, keepers and analytes the simulated benches are drawn from.

Solvent vapour pressures are the Antoine fits of Poling et al. as packaged with the
`chemicals` library, boiling points and critical temperatures likewise. Everything else
below is a scenario value: molar volumes and enthalpies rounded from handbooks (from memory),
Margules constants from usual azeotropes (from memory) and drawn with scatter in each bench,
so no bench depends on a digit of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from models.system import Array

LN10 = float(np.log(10.0))


@dataclass(frozen=True)
class BenchSolvent:
    """One solvent; ``kind`` sets its activity coefficients with solvents and analytes."""

    name: str
    cas: str
    kind: str
    molar_volume: float  # m3/mol at 20 degC
    h_boil: float  # J/mol at the normal boiling point
    heat_capacity: float  # J/(mol K), liquid


SOLVENTS = {
    s.name: s
    for s in (
        BenchSolvent("dichloromethane", "75-09-2", "chlorinated", 64.0e-6, 28060.0, 101.0),
        BenchSolvent("n-hexane", "110-54-3", "alkane", 130.8e-6, 28850.0, 195.0),
        BenchSolvent("n-heptane", "142-82-5", "alkane", 146.6e-6, 31770.0, 225.0),
        BenchSolvent("ethyl acetate", "141-78-6", "ester", 97.8e-6, 31940.0, 170.0),
        BenchSolvent("acetone", "67-64-1", "ketone", 73.5e-6, 29100.0, 125.0),
        BenchSolvent("methanol", "67-56-1", "alcohol", 40.5e-6, 35210.0, 81.0),
        BenchSolvent("ethanol", "64-17-5", "alcohol", 58.4e-6, 38560.0, 112.0),
        BenchSolvent("toluene", "108-88-3", "aromatic", 106.3e-6, 33180.0, 157.0),
        BenchSolvent("n-decane", "124-18-5", "alkane", 194.9e-6, 38750.0, 314.0),
        BenchSolvent("n-undecane", "1120-21-4", "alkane", 211.2e-6, 41500.0, 345.0),
        BenchSolvent("n-dodecane", "112-40-3", "alkane", 227.5e-6, 43400.0, 376.0),
        BenchSolvent("1-octanol", "111-87-5", "alcohol", 157.7e-6, 46900.0, 305.0),
    )
}
MAIN_SOLVENTS = tuple(list(SOLVENTS)[:8])
KEEPERS = {
    "n-hexane": ("n-decane", "n-undecane", "n-dodecane"),
    "n-heptane": ("n-undecane", "n-dodecane"),
    "dichloromethane": ("n-decane", "n-undecane", "n-dodecane", "1-octanol"),
    "ethyl acetate": ("n-undecane", "1-octanol"),
    "acetone": ("1-octanol",),
    "methanol": ("1-octanol",),
    "ethanol": ("1-octanol",),
    "toluene": ("n-undecane", "n-dodecane", "1-octanol"),
}
PAIRS = (
    ("dichloromethane", "n-hexane"),
    ("dichloromethane", "acetone"),
    ("dichloromethane", "ethyl acetate"),
    ("acetone", "n-hexane"),
    ("acetone", "ethyl acetate"),
    ("ethyl acetate", "n-hexane"),
    ("n-hexane", "toluene"),
    ("acetone", "methanol"),
)

_MARGULES = {  # ln(gamma at infinite dilution) by kind, two-suffix, near 40 degC
    ("alkane", "alkane"): 0.0,
    ("alkane", "chlorinated"): 0.75,
    ("alkane", "ester"): 1.0,
    ("alkane", "ketone"): 1.55,
    ("alkane", "alcohol"): 1.9,
    ("alkane", "aromatic"): 0.4,
    ("chlorinated", "ester"): -0.35,
    ("chlorinated", "ketone"): -0.5,
    ("chlorinated", "alcohol"): 0.9,
    ("ester", "ketone"): 0.15,
    ("ester", "alcohol"): 0.8,
    ("ketone", "alcohol"): 0.6,
    ("aromatic", "alcohol"): 1.4,
}
_ANALYTE_GAMMA = {  # mean ln(gamma) of a polar (first) and an apolar (second) analyte
    "alkane": (2.6, 0.9),
    "chlorinated": (0.3, 0.1),
    "ester": (0.2, 0.6),
    "ketone": (0.1, 0.8),
    "alcohol": (0.3, 1.9),
    "aromatic": (1.2, 0.1),
}


def margules(one: str, other: str) -> float:
    """Two-suffix constant of a pair of solvents by their kinds (0 for the same kind)."""
    a, b = SOLVENTS[one].kind, SOLVENTS[other].kind
    if a == b:
        return 0.0
    return _MARGULES.get((a, b), _MARGULES.get((b, a), 0.0))


def mean_ln_gamma(solvent: str, polar: bool) -> float:
    """Mean ln(gamma) at infinite dilution of an analyte in a solvent near 40 degC."""
    return _ANALYTE_GAMMA[SOLVENTS[solvent].kind][0 if polar else 1]


@dataclass(frozen=True)
class BenchAnalyte:
    """A library analyte with a reference vapour pressure of its liquid at 25 degC, Pa."""

    name: str
    cas: str
    pressure_25: float
    molar: float  # g/mol
    polar: bool
    scatter: float = 0.25  # sd of ln pressure: how well the reference is known


# PAHs: Mackay et al. handbook, sub-cooled liquid (from memory); others: measured fits of the
# `chemicals` library at 25 degC, rounded, with the wider scatter for what rests on one source.
ANALYTES = (
    BenchAnalyte("naphthalene", "91-20-3", 36.8, 128.17, False, 0.08),
    BenchAnalyte("acenaphthene", "83-32-9", 1.52, 154.21, False, 0.2),
    BenchAnalyte("fluorene", "86-73-7", 0.715, 166.22, False, 0.2),
    BenchAnalyte("phenanthrene", "85-01-8", 0.113, 178.23, False, 0.15),
    BenchAnalyte("anthracene", "120-12-7", 0.0778, 178.23, False, 0.25),
    BenchAnalyte("fluoranthene", "206-44-0", 0.00872, 202.25, False, 0.3),
    BenchAnalyte("pyrene", "129-00-0", 0.0119, 202.25, False, 0.3),
    BenchAnalyte("biphenyl", "92-52-4", 3.9, 154.21, False, 0.2),
    BenchAnalyte("1-methylnaphthalene", "90-12-0", 9.0, 142.20, False, 0.3),
    BenchAnalyte("1,2,4-trichlorobenzene", "120-82-1", 56.0, 181.45, False, 0.2),
    BenchAnalyte("n-tetradecane", "629-59-4", 1.9, 198.39, False, 0.1),
    BenchAnalyte("n-hexadecane", "544-76-3", 0.2, 226.44, False, 0.1),
    BenchAnalyte("phenol", "108-95-2", 70.0, 94.11, True, 0.2),
    BenchAnalyte("p-cresol", "106-44-5", 28.0, 108.14, True, 0.2),
    BenchAnalyte("2,4-dimethylphenol", "105-67-9", 17.0, 122.16, True, 0.25),
    BenchAnalyte("2,4-dichlorophenol", "120-83-2", 17.0, 163.00, True, 0.3),
    BenchAnalyte("2,4,6-trichlorophenol", "88-06-2", 3.5, 197.45, True, 0.35),
    BenchAnalyte("dimethyl phthalate", "131-11-3", 0.6, 194.19, True, 0.3),
    BenchAnalyte("diethyl phthalate", "84-66-2", 0.25, 222.24, True, 0.3),
    BenchAnalyte("methyl salicylate", "119-36-8", 7.0, 152.15, True, 0.35),
    BenchAnalyte("di-n-butyl phthalate", "84-74-2", 0.0036, 278.34, True, 0.35),
)


def enthalpy_from_pressure(pressure_25: float) -> float:
    """Enthalpy of vaporisation at 25 degC, J/mol, from the liquid's vapour pressure, Pa.

    dH = -3.82 ln(P/Pa) + 70.0 kJ/mol (Goss & Schwarzenbach 1999; from memory).
    """
    return 1000.0 * (70.0 - 3.82 * float(np.log(pressure_25)))


@cache
def solvent_constants(name: str) -> tuple[tuple[float, float, float], float, float]:
    """Antoine constants (ln Pa, K), normal boiling and critical temperature, K."""
    import chemicals
    from chemicals.vapor_pressure import Psat_data_AntoinePoling

    cas = SOLVENTS[name].cas
    a, b, c = Psat_data_AntoinePoling.loc[cas, ["A", "B", "C"]].to_numpy(dtype=float)
    antoine = (LN10 * float(a), LN10 * float(b), float(c))
    return antoine, float(chemicals.Tb(cas)), float(chemicals.Tc(cas))


def saturation_pressure(name: str, temperature_k: float) -> float:
    """Saturation pressure of a pure solvent, Pa."""
    (a, b, c), _, _ = solvent_constants(name)
    return float(np.exp(a - b / (temperature_k + c)))


def margules_matrix(names: tuple[str, ...], rng: np.random.Generator) -> Array:
    """[S, S] two-suffix constants with a bench's own scatter (sd 0.12)."""
    count = len(names)
    matrix = np.zeros((count, count))
    for i in range(count):
        for j in range(i + 1, count):
            value = margules(names[i], names[j])
            if SOLVENTS[names[i]].kind != SOLVENTS[names[j]].kind:
                value += 0.12 * rng.standard_normal()
            matrix[i, j] = matrix[j, i] = value
    return matrix
