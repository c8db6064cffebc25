"""Published values of our own tables, for what the libraries lack or have wrong."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from models.substances import read_table
from models.volatility import Evidence


@dataclass(frozen=True)
class MeasuredValue:
    """A published value of our own table that the libraries lack or have wrong."""

    value: float
    source: str


@lru_cache(maxsize=1)
def own_points() -> dict[str, tuple[Evidence, ...]]:
    """Cited vapour pressures of ``data/subcooled_pressures.csv`` by name."""
    points: dict[str, tuple[Evidence, ...]] = {}
    for row in read_table("subcooled_pressures.csv"):
        point = Evidence(
            float(row["temperature_k"]), float(row["pressure_pa"]), float(row["sd_ln"]),
            f"{row['source']} (from memory, {row['grade']})",
        )
        points[row["name"]] = (*points.get(row["name"], ()), point)
    return points


@lru_cache(maxsize=1)
def own_values() -> dict[tuple[str, str], MeasuredValue]:
    """Cited values of ``data/measured_values.csv`` by (name, property)."""
    return {
        (row["name"], row["property"]): MeasuredValue(float(row["value"]), row["source"])
        for row in read_table("measured_values.csv")
    }
