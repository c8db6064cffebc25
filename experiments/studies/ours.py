"""Boilwright as one of the strategies, through the Python contract only."""

from __future__ import annotations

from collections.abc import Sequence

from experiments.answers import Interval
from experiments.dossier import Dossier
from experiments.fitted import Fitted
from experiments.job import Setting
from experiments.studies.bench import Mapping
from experiments.studies.strategy import LEVELS, Belief, Claim, Problem


class Boilwright:
    """Propose and recommend with a dossier; the budget is told as the job's trials."""

    def __init__(self, problem: Problem, budget: int) -> None:
        job = {**problem.job, "seed": problem.seed,
               "limits": {**problem.job["limits"], "trials": budget}}
        self._problem = problem
        self._dossier = Dossier.start(job)
        self._ids: list[str] = []
        self.stop_reason: str | None = None

    def propose(self, n: int) -> list[Setting]:
        trials = self._dossier.propose(n)
        self.stop_reason = self._dossier.stop_reason
        self._ids = [t.id for t in trials]
        return [dict(t.setting) for t in trials]

    def record(self, setting: Setting, result: Mapping) -> None:  # noqa: ARG002 (by id)
        self._dossier.record(self._ids.pop(0), **result)

    @property
    def fitted(self) -> Fitted:
        """The job with what its trials taught."""
        return self._dossier.fitted()

    def claim(self) -> Claim:
        edge = self._dossier.recommend(robust=False)
        inward = self._dossier.recommend()
        compromise = edge.compromise.setting if edge.compromise is not None else None
        setting = edge.setting
        shown = setting or compromise
        belief = self.beliefs([shown])[0] if shown else None
        return Claim(
            dict(setting) if setting else None,
            float(edge.probability),
            dict(compromise) if compromise else None,
            dict(inward.setting) if inward.setting else None,
            impossible=edge.status == "nothing qualifies",
            belief=belief,
            notes={"status": edge.status, "reason": edge.reason},
        )

    def beliefs(self, settings: Sequence[Setting]) -> list[Belief | None]:
        by_level = [self._dossier.forecast(list(settings), level=level) for level in LEVELS]
        beliefs: list[Belief | None] = []
        for each in zip(*by_level, strict=True):
            time = {lv: _pair(f.run_time_min) for lv, f in zip(LEVELS, each, strict=True)}
            recovery = {
                name: {lv: _pair(f.recovery_percent[name])
                       for lv, f in zip(LEVELS, each, strict=True)}
                for name in self._problem.analytes
            }
            beliefs.append(Belief(time, recovery, float(each[0].probability)))
        return beliefs


def _pair(interval: Interval) -> tuple[float, float]:
    return float(interval.low), float(interval.high)
