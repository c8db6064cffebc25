"""What limits a setting, in one wording for the wizard, the command line and the report."""

from __future__ import annotations

from experiments.answers import Forecast, weakest
from experiments.job import EvaporationJob
from experiments.wording import percent


def what_limits(job: EvaporationJob, forecast: Forecast) -> str:
    """What goes wrong most likely at a setting, with its chance."""
    name = weakest(job, forecast)
    found = forecast.recovery_percent.get(name)
    if found is None:
        risk = {"run time": 1.0 - forecast.finish_probability,
                "boil-over": forecast.boil_over_probability,
                "sample temperature": forecast.too_warm_probability}[name]
        return f"{what_fails(job, name)} (chance {percent(risk)})"
    missed = percent(1.0 - forecast.analyte_probability[name])
    return (f"{what_fails(job, name)} (forecast {found.mean:.0f} %, {found.low:.0f} to "
            f"{found.high:.0f} %; chance to miss {missed})")


def what_fails(job: EvaporationJob, name: str) -> str:
    """What may happen where an analyte, the run time, boil-over or the sample's cap limits."""
    if name == "run time":
        return f"the run may not be done within {job.limits.max_run_time_min:g} min"
    if name == "boil-over":
        return "liquid may be thrown out"
    if name == "sample temperature":
        return f"the sample may get warmer than {job.sample.max_temperature_c:g} degC"
    target = next(a.target_recovery_percent for a in job.analytes if a.name == name)
    return f"{name} may miss its target of {target:g} %"
