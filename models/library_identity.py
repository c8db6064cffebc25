"""Which substance of the libraries a name or a CAS number means, and where its data stand."""

from __future__ import annotations

import re
from typing import Any

from models.errors import UnknownSubstance
from models.pressure_sources import ESTIMATES
from models.substance_names import isomers
from models.substances import normalised

REGISTRY = re.compile(r"\d{2,7}-\d\d-\d")
"""A CAS registry number."""


def identified(name: str, look_up: str) -> Any:
    """The library's record of a name or CAS number, refused where the name leaves it open."""
    from chemicals.identifiers import search_chemical

    try:
        found = search_chemical(look_up or name)
    except (ValueError, KeyError, IndexError):
        why = f"No substance is known under the CAS number {name}." if REGISTRY.fullmatch(
            name) else ""
        raise UnknownSubstance(name, why=why) from None
    if look_up:
        return found
    if name == found.formula and not name.isalpha():
        raise UnknownSubstance(name, (found.common_name,), f"{name} is a formula, which several "
                               "substances share; give the name or CAS number.")
    bare = normalised(found.common_name) == normalised(name)
    open_ = {} if bare else isomers(name, search_chemical)
    if len(open_) > 1 and found.CASs in open_:
        raise UnknownSubstance(name, tuple(open_.values())[:4],
                               f"{name} may be any of {len(open_)} isomers.")
    return found


def data_number(name: str, found: Any) -> str:
    """The CAS number to read data under: the one asked for if the libraries have data under it.

    Racemates and entries without stereochemistry are one structure under several numbers, and
    the measurements stand under one of them only.
    """
    from chemicals import Tb_methods
    from thermo.vapor_pressure import VaporPressure

    if name != found.CASs and REGISTRY.fullmatch(name) and (
            set(Tb_methods(name)) - ESTIMATES
            and set(VaporPressure(CASRN=name).T_limits) - ESTIMATES):
        return name
    return str(found.CASs)
