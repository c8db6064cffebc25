"""Substances by name, synonym or CAS number, with fitted properties and where they came from.

The usual ones come from the packaged table ``data/substances.csv`` (made by
:mod:`models.generate`); anything else is read from the ``chemicals`` and ``thermo`` libraries
by the same rules when it is first asked for.
"""

from __future__ import annotations

import csv
import difflib
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from models.errors import ModelError, UnknownSubstance
from models.substance_names import blend, registry_fault, spelled
from models.system import Array


@dataclass(frozen=True, eq=False)
class Substance:
    """One substance, SI units.

    Attributes
    ----------
    ln_p : [4] ln(P/Pa) = c0 + c1/T + c2 ln T + c3 T of the (sub-cooled) liquid, 200-470 K
    ln_p_sd : one standard deviation of ln P at 313 K, from fit, sources and extrapolation
    ln_p_range : K, range of the data behind it; (nan, nan) for a single point or an estimate
    h_vap : [3] J/mol, h0 + h1 T + h2 T^2
    density : kg/m3 at 293.15 K; heat_capacity : J/(mol K), liquid
    boiling_temperature, freezing_temperature : K, nan when unknown or not credible
    flash_temperature, ignition_temperature : K, the lower of the standards, nan when none
    unifac, unifac_dortmund : subgroup number -> count, empty when the groups are not known
    sources : property -> source; warnings : what was found wrong in the sources
    points_text : data points behind the curve, packed; see ``points``
    """

    name: str
    cas: str
    role: str
    synonyms: tuple[str, ...]
    formula: str
    smiles: str
    molar_mass: float
    ln_p: Array
    ln_p_sd: float
    ln_p_range: tuple[float, float]
    h_vap: Array
    density: float
    heat_capacity: float
    boiling_temperature: float
    freezing_temperature: float
    flash_temperature: float
    flash_source: str
    ignition_temperature: float
    ignition_source: str
    lower_flammable_limit: float
    unifac: dict[int, int]
    unifac_dortmund: dict[int, int]
    sources: dict[str, str]
    warnings: tuple[str, ...]
    points_text: str = ""

    @property
    def points(self) -> tuple[tuple[float, float, str], ...]:
        """Data behind the vapour-pressure curve: T in K, P in Pa, source."""
        return tuple(
            (float(T), float(P), source)
            for source, text in _mapping(self.points_text).items()
            for T, P in (pair.split(":") for pair in text.split())
        )


def normalised(text: str) -> str:
    """A name without case, blanks, hyphens and primes, as look-ups compare it."""
    return re.sub(r"[\s\-_'’′]", "", spelled(text)).casefold()


def _groups(text: str) -> dict[int, int]:
    pairs = (item.split(":") for item in text.split() if item)
    return {int(group): int(count) for group, count in pairs}


def _mapping(text: str) -> dict[str, str]:
    return dict(item.split("=", 1) for item in text.split("|") if item)


def read_table(name: str) -> list[dict[str, str]]:
    """Rows of a packaged table in ``models/data``."""
    text = resources.files("models").joinpath("data", name).read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def _parse(row: dict[str, str]) -> Substance:
    def number(key: str) -> float:
        return float(row[key] or "nan")

    return Substance(
        name=row["name"],
        cas=row["cas"],
        role=row["role"],
        synonyms=tuple(s for s in row["synonyms"].split("|") if s),
        formula=row["formula"],
        smiles=row["smiles"],
        molar_mass=number("molar_mass"),
        ln_p=np.array([number(f"c{i}") for i in range(4)]),
        ln_p_sd=number("ln_p_sd"),
        ln_p_range=(number("t_low"), number("t_high")),
        h_vap=np.array([number(f"h{i}") for i in range(3)]),
        density=number("density"),
        heat_capacity=number("heat_capacity"),
        boiling_temperature=number("boiling_temperature"),
        freezing_temperature=number("freezing_temperature"),
        flash_temperature=number("flash_temperature"),
        flash_source=row["flash_source"],
        ignition_temperature=number("ignition_temperature"),
        ignition_source=row["ignition_source"],
        lower_flammable_limit=number("lower_flammable_limit"),
        unifac=_groups(row["unifac"]),
        unifac_dortmund=_groups(row["unifac_dortmund"]),
        sources=_mapping(row["sources"]),
        warnings=tuple(w for w in row["warnings"].split("|") if w),
        points_text=row["points"],
    )


@lru_cache(maxsize=1)
def usual_substances() -> tuple[Substance, ...]:
    """Every substance of the packaged table."""
    return tuple(_parse(row) for row in read_table("substances.csv"))


@lru_cache(maxsize=1)
def _index() -> dict[str, Substance]:
    index: dict[str, Substance] = {}
    for substance in usual_substances():
        for name in (substance.name, substance.cas, *substance.synonyms):
            index.setdefault(normalised(name), substance)
    return index


def packaged_substance(name_or_cas: str) -> Substance | None:
    """The substance of the packaged table, None when it is not there."""
    return _index().get(normalised(name_or_cas))


def find_substance(name_or_cas: str) -> Substance:
    """Return the substance of that name, synonym or CAS number.

    Raises
    ------
    UnknownSubstance
        When neither the table nor the libraries know it; lists near names.

    Examples
    --------
    >>> find_substance("DCM").name
    'dichloromethane'
    >>> find_substance("91-20-3").name
    'naphthalene'
    """
    key = normalised(name_or_cas)
    if not key:
        raise UnknownSubstance(name_or_cas)
    known = packaged_substance(name_or_cas)
    return known if known is not None else _from_library(spelled(name_or_cas))


@lru_cache(maxsize=512)
def _from_library(name: str) -> Substance:
    from models.reference_library import read_substance  # heavy: only for what the table lacks

    fault = registry_fault(name)
    if fault:
        raise UnknownSubstance(name, why=fault)
    like = blend(normalised(name))
    if like:
        raise UnknownSubstance(
            name, why=f"{name} is a blend; name a substance that boils like it, {like}.")
    try:
        substance = read_substance(name)
    except UnknownSubstance as error:
        near = () if name[:1].isdigit() and "-" in name else search_substances(name)
        raise UnknownSubstance(name, error.matches or near, error.why, error.given_cure) from None
    except ModelError as error:
        raise UnknownSubstance(name, why=f"{name} does not evaporate as a liquid between -73 and "
                               "197 degC by the data there are.") from error
    return _index().get(normalised(substance.cas), substance)


def search_substances(text: str, limit: int = 5) -> tuple[str, ...]:
    """Names of the table that contain the text or look like it, best first."""
    key = normalised(text)
    if not key:
        return ()
    index = _index()
    names = [s.name for k, s in index.items() if key in k]
    names += [index[k].name for k in difflib.get_close_matches(key, index, n=limit, cutoff=0.7)]
    return tuple(dict.fromkeys(names))[:limit]
