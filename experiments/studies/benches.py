"""Simulated benches, and which of them settle the method and which report on it.

``physical_bench(seed)`` and ``physics_free_bench(seed)`` give any bench; the two sets of
seeds below never meet, so parameters tuned on the one are reported on the other.
"""

from __future__ import annotations

from experiments.studies.bench import Bench, Noise, Truth
from experiments.studies.physical import physical_bench
from experiments.studies.physics_free import physics_free_bench

__all__ = ["FAMILIES", "REPORTED", "SETTLED", "Bench", "Noise", "Truth", "make_bench",
           "physical_bench", "physics_free_bench"]

FAMILIES = {"physical": physical_bench, "physics-free": physics_free_bench}
SETTLED = {"physical": tuple(range(0, 60)), "physics-free": tuple(range(0, 30))}
REPORTED = {"physical": tuple(range(1000, 1070)), "physics-free": tuple(range(1000, 1036))}


def make_bench(family: str, seed: int) -> Bench:
    """The bench of a family ("physical" or "physics-free") with that seed."""
    return FAMILIES[family](seed)
