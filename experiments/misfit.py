"""Whether the runs contradict the run model: it then forecasts little beyond what was tried."""

from __future__ import annotations

import numpy as np

from experiments.fitted import Fitted
from models.errors import Finding
from models.scales import discrepancy_quantiles

UNUSUAL = 0.9
"""Share of jobs whose discrepancies are taken to be smaller, before any run."""


def misfit(fitted: Fitted) -> tuple[Finding, ...]:
    """The finding that the run model does not explain the runs; empty where it does.

    It does not when half of the posterior has a discrepancy, of run times or of recoveries,
    larger than that of :data:`UNUSUAL` of all jobs. A setting is then not recommended: on
    simulated benches that know no physics half of such recommendations were false.
    """
    if not fitted.trials:
        return ()
    scales = fitted.surrogate.scales_
    recovery = float(np.median(scales.recovery_discrepancy))
    time = float(np.median(scales.time_discrepancy))
    usual_recovery, usual_time = discrepancy_quantiles(UNUSUAL)
    if recovery <= usual_recovery and time <= usual_time:
        return ()
    return (Finding(
        "run_model_contradicted", "caution",
        f"The run model does not explain these runs: beyond their scatter, run times differ from "
        f"it by about {100 * np.expm1(time):.0f} % and recoveries by about {recovery:.1f} times "
        f"the usual scatter between runs. Forecasts now lean on the runs nearby and are vague "
        f"away from them.",
        "Check what the job says of solvents, load, keeper, vessels and evaporator, where the "
        "pressure and the temperature are measured, and leaks; correct the job or the readings, "
        "and repeat a run that looks odd.",
    ),)
