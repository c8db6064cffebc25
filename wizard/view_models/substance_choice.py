"""What a search field offers: substances with their CAS numbers and other names."""

from __future__ import annotations

from functools import lru_cache

from models.substances import Substance, usual_substances


@lru_cache(maxsize=4)
def offered(roles: tuple[str, ...]) -> dict[str, str]:
    """Name -> what is searched and shown; the wanted roles first, then all others."""
    first = [s for s in usual_substances() if s.role in roles]
    others = [s for s in usual_substances() if s.role not in roles]
    return {s.name: _label(s) for s in (*first, *others)}


def _label(substance: Substance) -> str:
    others = ", ".join(substance.synonyms[:3])
    return " · ".join(p for p in (substance.name, substance.cas, others) if p)


@lru_cache(maxsize=512)
def cas_of(name: str) -> str:
    """CAS number of a usual substance, empty for others."""
    return next((s.cas for s in usual_substances() if s.name == name), "")
