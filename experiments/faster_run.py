"""Why a faster run that went well is not the recommendation."""

from __future__ import annotations

from experiments.factor_space import setting_key
from experiments.fitted import Fitted
from experiments.job import EvaporationJob
from experiments.limiting import what_limits
from experiments.trials import FAILING, Trial
from experiments.wording import percent


def why_not_faster(fitted: Fitted, recommended_min: float) -> str:
    """Why the fastest run that met every target is not recommended; empty where it is.

    Parameters
    ----------
    fitted : what is known, with the trials it rests on
    recommended_min : run time of the recommended setting, min
    """
    good = [(t.result.run_time_min, t) for t in fitted.trials
            if t.result is not None and t.result.run_time_min is not None
            and t.result.run_time_min < recommended_min and _met(t, fitted.job)]
    if not good:
        return ""
    minutes, trial = min(good, key=lambda g: g[0])
    forecast = fitted.forecast([trial.setting])[0]
    lead = f"{trial.id} was faster ({minutes:.0f} min) and met every target in its mean, but "
    key = setting_key(trial.setting)
    failed = [f"{t.id} {t.result.outcome}" for t in fitted.trials
              if t.result is not None and t.result.outcome in FAILING
              and setting_key(t.setting) == key]
    if failed:
        return f"{lead}at the same setting another run went wrong: {', '.join(failed)}."
    if forecast.probability >= fitted.job.limits.assurance:
        return f"{lead}its setting does not keep them within the equipment's tolerance."
    return (f"{lead}one run proves little: the chance that its setting keeps everything asked is "
            f"{percent(forecast.probability)}, because {what_limits(fitted.job, forecast)}.")


def _met(trial: Trial, job: EvaporationJob) -> bool:
    """Whether a finished run has every deciding analyte at its target, in the mean of vessels."""
    result = trial.result
    if result is None or result.outcome != "finished" or result.corrected:
        return False
    spans = ((result.mean_span(a.name), a.target_recovery_percent) for a in job.must)
    return all(lowest == highest >= target for (lowest, highest), target in spans)
