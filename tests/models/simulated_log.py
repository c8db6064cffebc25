"""What instruments would write down of a run of the independent solution: for tests of logs.

The coolant warms by load over heat capacity flow, answers late, drifts, is read with noise and
to a last digit; after the stop the chamber is vented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from reference_run import ATM, CLASSES, DRY, ReferenceRun

from models.run_log import RunLog


class WatchedRun(ReferenceRun):
    """A run of which the pressure and the condenser load are kept."""

    def __init__(self, *given) -> None:
        super().__init__(*given)
        self.seen: list[tuple[float, float, float]] = []  # s, Pa, W
        self.gone: list[tuple[float, float]] = []  # s, share of the solvents that is vapour
        self.boiled: float | None = None

    def happen(self, event, t, y) -> None:
        super().happen(event, t, y)
        if event.kind == "boil" and self.boiled is None:
            self.boiled = t

    def end_point(self, answer, quiet_since, peak):
        found = super().end_point(answer, quiet_since, peak)
        last = answer.t[-1] if found[0] is None else min(found[0], answer.t[-1])
        for t in np.linspace(answer.t[0], last, 60):
            b = self.balance(t, answer.sol(t))
            self.seen.append((t, b["p"], b["load"]))
            self.gone.append((t, self.share_gone(answer.sol(t))))
        return found

    def share_gone(self, y) -> float:
        solvents = self.S - self.s.has_keeper
        left = sum(self.share[k] * y[base : base + solvents].sum() for k in range(CLASSES)
                   if self.mode[k] != DRY and (base := 1 + k * self.width))
        return 1.0 - left / self.start[:solvents].sum()


@dataclass(frozen=True)
class Instruments:
    """How a run is written down; s, K, K per peak load."""

    every: float = 5.0
    rise: float = 3.0  # K of warming at the highest load
    lag: float = 15.0
    noise: float = 0.02
    digit: float = 0.01
    drift: float = 0.05  # K over the run
    after: float = 120.0  # s written down after the stop
    before: float = 60.0  # s written down between lid-close and the first reading of the vacuum


def written_down(
    run: WatchedRun, stop: float, how: Instruments, rng: np.random.Generator
) -> RunLog:
    """The log of a run that has been solved."""
    t = np.arange(0.0, stop + how.after, how.every)
    seen = np.array(run.seen)
    order = np.argsort(seen[:, 0], kind="stable")
    at, pressure, load = seen[order].T
    p = np.interp(t, at, pressure)
    is_vented = t > stop
    p[is_vented] = ATM + (p[~is_vented][-1] - ATM) * np.exp(-(t[is_vented] - stop) / 8.0)
    fine = np.arange(0.0, t[-1] + 1.0, 1.0)
    ideal = np.interp(fine, at, load / load.max()) * how.rise * (fine <= stop)
    warm = np.zeros_like(fine)
    for i in range(1, len(fine)):
        warm[i] = warm[i - 1] + (ideal[i] - warm[i - 1]) / max(how.lag, 1.0)
    rise = np.interp(t, fine, warm) + 0.15 + how.drift * t / t[-1]
    cold = 263.15 + 0.3 * np.sin(t / 400.0)

    def read(values):
        noisy = values + how.noise * rng.standard_normal(len(values))
        return np.round(noisy / how.digit) * how.digit

    noisy = p * (1.0 + 0.002 * rng.standard_normal(len(t)))
    return RunLog(t, noisy, read(np.full(len(t), run.wall)), read(cold), read(cold + rise))
