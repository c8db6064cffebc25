"""The fastest setting that meets every target at the asked assurance, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from experiments.answers import Answer, Forecast, Status
from experiments.carrying import findings
from experiments.factor_space import tolerances, unique
from experiments.fitted import HOPELESS_BELOW, Fitted
from experiments.job import Setting
from experiments.limiting import what_limits
from experiments.misfit import misfit
from experiments.predicted_run import predicted_run
from experiments.readings import vessel_values
from experiments.remedies import find_remedies
from experiments.wording import as_asked, counted, listed, percent
from models.system import Array

IMPOSSIBLE_BELOW = 0.08
"""Below this probability that any setting meets every target, nothing qualifies."""
SAME_TIME = 0.02
"""Run times that differ by less than this share are the same as far as anyone can tell."""

NO_REMEDY = (" None of the changes worked out (keeper, end volume, hold, fill, targets) helps by "
             "more than five in a hundred.")
NO_REMEDY_KNOWN = (" What would help is not worked out while the run model does not explain the "
                   "runs: find the cause first.")


@dataclass(frozen=True)
class Search:
    """What a search of the window found: the fastest qualifying and the safest setting."""

    fastest: Setting | None
    inside: Setting | None
    compromise: Setting
    possible: float


def recommend(fitted: Fitted, robust: bool = True) -> Answer:
    """Recommend at the asked assurance; worked out once for what is known.

    Parameters
    ----------
    fitted : what is known
    robust : move inwards so that the equipment's tolerance stays inside; with False the
        fastest qualifying setting itself is recommended
    """
    return deepcopy(_recommend(fitted, robust))


@lru_cache(maxsize=16)
def _recommend(fitted: Fitted, robust: bool) -> Answer:
    found = search(fitted)
    setting = found.inside if robust else found.fastest
    status, reason = _verdict(fitted, found, setting, robust)
    if status != "recommended":
        setting = None
    shown = fitted.forecast([setting if setting is not None else found.compromise])[0]
    fastest = fitted.forecast([found.fastest])[0] if found.fastest is not None else None
    contradicted = misfit(fitted)
    remedies = (find_remedies(fitted, found.compromise)
                if setting is None and not contradicted else ())
    if status == "nothing qualifies" and not remedies:
        reason += NO_REMEDY_KNOWN if contradicted else NO_REMEDY
    return Answer(
        status=status,
        reason=reason,
        setting=dict(setting) if setting is not None else None,
        compromise=fitted.forecast([found.compromise])[0],
        fastest=fastest,
        run_time_min=shown.run_time_min,
        recovery_percent=shown.recovery_percent,
        probability=shown.probability,
        remedies=remedies,
        boil_over_probability=shown.boil_over_probability,
        findings=(*(f.sentence for f in contradicted), *findings(fitted),
                  *(_run_findings(fitted, setting) if setting is not None else ())),
    )


def _run_findings(fitted: Fitted, setting: Setting) -> list[str]:
    """What the predicted run at a setting makes an analyst look at."""
    said: list[str] = predicted_run(fitted.job, setting, fitted.mean_parameters)["findings"]
    return said


def search(fitted: Fitted) -> Search:
    """Search the window, refining around the fastest qualifying setting."""
    asked = fitted.job.limits.assurance
    settings = fitted.candidates
    rng = np.random.default_rng([fitted.job.seed, 53])
    fastest = _fastest(fitted, settings, asked)
    for width in (0.05, 0.02):
        centres = [fastest] if fastest is not None else fitted.leaders(settings, 2)
        near = unique(fitted.space.around(centres, 60, width, rng))
        settings = unique([*settings, *fitted.promising(near, 24)])
        fastest = _fastest(fitted, settings, asked)
    inside = _inside(fitted, settings, asked) if fastest is not None else None
    if fastest is not None and inside is not None:  # of the two as good as equal, the faster
        fastest = min((fastest, inside), key=lambda s: float(fitted.mean_time([s])[0]))
    return Search(fastest, inside, fastest or _compromise(fitted, settings),
                  _possible(fitted, settings))


def _compromise(fitted: Fitted, settings: Sequence[Setting]) -> Setting:
    """The setting most likely to meet every target; of hopeless ones, what comes nearest."""
    probability = fitted.probability(settings)
    if probability.max() < HOPELESS_BELOW:
        return settings[int(np.argmax(fitted.promise(settings)))]
    return settings[int(np.argmax(probability - 1e-6 * fitted.mean_time(settings)))]


def _fastest(fitted: Fitted, settings: Sequence[Setting], asked: float) -> Setting | None:
    """The setting of least posterior mean time whose probability is at least ``asked``.

    Of settings that are as fast as far as anyone can tell, the surest.
    """
    probability, time = fitted.probability(settings), fitted.mean_time(settings)
    qualifies = probability >= asked
    if not qualifies.any():
        return None
    as_fast = qualifies & (time <= (1.0 + SAME_TIME) * time[qualifies].min())
    return settings[int(np.argmax(np.where(as_fast, probability, -1.0)))]


def _inside(fitted: Fitted, settings: Sequence[Setting], asked: float) -> Setting | None:
    """The fastest setting that still qualifies anywhere within the equipment's tolerance.

    Settings are tried from the fastest on until one holds at every edge of it; of those as fast
    as far as anyone can tell, the surest is taken.
    """
    holds = _Tolerance(fitted, asked)
    probability, time = fitted.probability(settings), fitted.mean_time(settings)
    order = [int(i) for i in np.argsort(time, kind="stable") if probability[i] >= asked]
    fastest = next((i for i in order if holds(settings[i])), None)
    if fastest is None:
        return None
    surer = [i for i in order if probability[i] > probability[fastest]
             and time[fastest] <= time[i] <= (1.0 + SAME_TIME) * time[fastest]]
    surer.sort(key=lambda i: -probability[i])
    return settings[next((i for i in surer if holds(settings[i])), fastest)]


class _Tolerance:
    """Whether a setting qualifies at every corner and edge of the equipment's tolerance.

    They are tried one by one, first the one at which the last setting failed.
    """

    def __init__(self, fitted: Fitted, asked: float) -> None:
        self.fitted, self.asked = fitted, asked
        self.tolerance = {name: d for name, d in tolerances(fitted.job).items() if d > 0}
        self.order = list(range(3 ** len(self.tolerance) - 1))

    def __call__(self, setting: Setting) -> bool:
        around = self.fitted.space.neighbours(setting, self.tolerance)
        for i in self.order:
            if self.fitted.probability([_physical(around[i])])[0] < self.asked:
                self.order.remove(i)
                self.order.insert(0, i)
                return False
        return True


def _physical(setting: Setting) -> Setting:
    """A setting within the tolerance with its pressure kept above zero."""
    pressure = float(setting["end_pressure_mbar"])
    return {**setting, "end_pressure_mbar": max(pressure, 0.1)}


def _possible(fitted: Fitted, settings: Sequence[Setting]) -> float:
    """Probability that some setting of the window meets every target, by joint draws."""
    met: Array = np.array([fitted.sampled_success(p) for p in fitted.points(settings)])
    return float(met.max(axis=0).mean())


def _verdict(
    fitted: Fitted, found: Search, setting: Setting | None, robust: bool
) -> tuple[Status, str]:
    asked = fitted.job.limits.assurance
    best: Forecast = fitted.forecast([found.compromise])[0]
    if setting is not None and misfit(fitted):
        return "more trials needed", (
            f"The best setting found meets every target with a probability of "
            f"{percent(best.probability)}, but the run model does not explain the runs, so that "
            f"no probability can be relied on. Find the cause, or prove a setting by verification "
            f"runs, which ask no model."
        )
    if setting is not None and fitted.trials:
        missing = _never_measured(fitted)
        if missing:
            return "more trials needed", (
                f"The best setting found meets every target with a probability of "
                f"{percent(best.probability)}, but no run has measured {listed(missing)}: a "
                f"recommendation rests on results, not on properties alone. Measure it in a run."
            )
        return "recommended", _why_recommended(fitted, setting, robust)
    hopeless = found.possible < IMPOSSIBLE_BELOW or (  # or two batches found no better chance
        best.probability < HOPELESS_BELOW
        and len(fitted.trials) >= 2 * fitted.job.limits.trials_per_batch
    )
    if setting is None and hopeless:
        return "nothing qualifies", (
            f"No setting in the window is likely to meet every target: the best one found has a "
            f"chance of {percent(best.probability)}. What limits it: "
            f"{what_limits(fitted.job, best)}."
        )
    if not fitted.trials:
        return "more trials needed", (
            "No trial has been recorded yet; a recommendation rests on results, not on physics "
            "alone."
        )
    if found.fastest is not None:
        return "more trials needed", (
            "A setting qualifies, but none still does within the equipment's tolerance; "
            + ("more trials may widen the region." if len(fitted.trials) < fitted.job.limits.trials
               else "verification runs can prove it as it is, without that margin.")
        )
    return "more trials needed", (
        f"The best setting meets every target with a probability of "
        f"{percent(best.probability)}, below the asked {as_asked(asked)}; "
        f"what limits it: {what_limits(fitted.job, best)}."
    )


def _why_recommended(fitted: Fitted, setting: Setting, robust: bool) -> str:
    forecast = fitted.forecast([setting])[0]
    held = " even at the edge of what the equipment holds" if robust else ""
    return (
        f"The fastest setting found whose probability of meeting every target is at least the "
        f"asked {as_asked(fitted.job.limits.assurance)}{held} (here "
        f"{percent(forecast.probability)}), from {counted(len(fitted.trials), 'recorded trial')}; "
        f"what limits it: {what_limits(fitted.job, forecast)}."
    )


def _never_measured(fitted: Fitted) -> list[str]:
    """Deciding analytes that no run has measured."""
    results = [t.result for t in fitted.trials if t.result is not None and not t.result.corrected]
    return [a.name for a in fitted.job.must
            if not any(vessel_values(r, a.name).size for r in results)]
