"""Logs of our own invention, as text files of loggers of several habits."""

from __future__ import annotations

import numpy as np

HEADERS = ("Time [s]", "Chamber pressure [mbar]", "Wall [degC]", "Coolant in [degC]",
           "Coolant out [degC]")


def run_columns(
    every_s: float = 5.0, end_mbar: float = 40.0, minutes: float = 45.0, boil_min: float = 5.0,
    dry_min: float = 30.0, stop_min: float = 40.0, wall_c: float = 45.0,
) -> np.ndarray:
    """[M, 5] s, mbar, degC: evacuated from the second minute, vented at ``stop_min``."""
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 60.0 * minutes, every_s)
    p = np.interp(t / 60.0, [0, 2, 3, 10], [1010, 1010, 600, end_mbar])
    p[t > 60.0 * stop_min] = 1010.0
    load = np.interp(t / 60.0, [0, boil_min, boil_min + 2, dry_min - 1, dry_min],
                     [0, 0, 1, 0.7, 0])
    cold = -20.0 + 0.02 * rng.standard_normal(len(t))
    warm = -19.8 + 4.0 * load + 0.02 * rng.standard_normal(len(t))
    return np.column_stack([t, p, np.full(len(t), wall_c), cold, warm])


def as_text(
    columns: np.ndarray, headers: tuple[str, ...] = HEADERS, delimiter: str = ",",
    decimal: str = ".", before: str = "",
) -> str:
    """The log as a file."""
    lines = [delimiter.join(headers)]
    lines += [delimiter.join(f"{v:.3f}".replace(".", decimal) for v in row) for row in columns]
    return before + "\n".join(lines) + "\n"
