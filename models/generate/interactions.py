"""Group tables and solvent pairs: what :mod:`models.activity` reads."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import Any


def groups() -> Iterable[dict[str, object]]:
    """Subgroups of both UNIFAC models with main group, R and Q."""
    from thermo import unifac

    for model, table in (("original", unifac.UFSG), ("dortmund", unifac.DOUFSG)):
        for number, group in table.items():
            yield {"model": model, "group": number, "name": group.group,
                   "main_group": group.main_group_id, "R": group.R, "Q": group.Q}


def interactions() -> Iterable[dict[str, object]]:
    """Interactions between main groups: a + b T + c T^2 in K (original: a only)."""
    from thermo import unifac

    unifac.load_unifac_ip()
    return _rows((("original", unifac.UFIP), ("dortmund", unifac.DOUFIP2016)))


def completed() -> Iterable[dict[str, object]]:
    """The same of UNIFAC 2.0 and modified UNIFAC 2.0, for groups that the first two have."""
    from thermo import unifac

    unifac.load_unifac_ip()
    return _rows((("original completed", unifac.UF2IP), ("dortmund completed", unifac.DOUF2IP)))


def _rows(tables: Iterable[tuple[str, Any]]) -> Iterable[dict[str, object]]:
    for model, table in tables:
        for first, others in table.items():
            for second, value in others.items():
                a, b, c = value if isinstance(value, tuple) else (value, 0.0, 0.0)
                yield {"model": model, "first": first, "second": second,
                       **{k: float(f"{v:.9g}") for k, v in (("a", a), ("b", b), ("c", c))}}


def nrtl() -> Iterable[dict[str, object]]:
    """NRTL parameters of every pair of usual solvents and keepers."""
    from models.activity_pairs import fit_pair
    from models.substances import usual_substances

    liquids = [s for s in usual_substances() if s.role in {"solvent", "keeper"}]
    for first, second in combinations(liquids, 2):
        pair = fit_pair(first, second)
        yield {
            "first": first.name, "second": second.name, "model": pair.model,
            "a12": f"{pair.a[0]:.6g}", "a21": f"{pair.a[1]:.6g}", "b12": f"{pair.b[0]:.6g}",
            "b21": f"{pair.b[1]:.6g}", "alpha": f"{pair.alpha:.3g}",
            "misfit": f"{pair.misfit:.3g}",
        }
