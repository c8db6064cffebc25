"""Simulated benches and the comparison of strategies that are played on them."""

from __future__ import annotations

from typing import Any

from experiments.progress import Progress


def quick(n_benches: int = 10, progress: Progress | None = None) -> dict[str, Any]:
    """Play Boilwright on a few physical benches; see :func:`quick_look.quick`."""
    from experiments.studies import quick_look

    return quick_look.quick(n_benches, progress)


def full(
    n_benches: int, *, dask: str | None = None, progress: Progress | None = None
) -> dict[str, Any]:
    """Compare all strategies that are installed; see :func:`quick_look.full`."""
    from experiments.studies import quick_look

    return quick_look.full(n_benches, dask=dask, progress=progress)
