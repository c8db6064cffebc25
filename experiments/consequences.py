"""What a run time means to a laboratory: batches, samples, solvent, analyst minutes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from experiments.entries import EntryError
from experiments.job import EvaporationJob

WORKING_DAY_MIN = 480.0
WORKING_DAYS = 5


@dataclass(frozen=True)
class Consequences:
    """Figures of one method at full use of one evaporator."""

    run_time_min: float
    batch_min: float
    batches_a_day: int
    samples_a_day: int
    samples_a_week: int
    analyst_min_a_week: float
    solvent_l_a_week: float
    condenser_emptyings_a_week: int
    assumption: str


def consequences(job: EvaporationJob, run_time_min: float) -> Consequences:
    """Batches that fit a working day, one after another, and what follows from them.

    ``run_time_min`` is that of one batch, without handling; the batches are started and ended in
    :data:`WORKING_DAY_MIN` minutes on each of :data:`WORKING_DAYS` days a week.
    """
    if not run_time_min > 0.0:
        raise EntryError("Batches a day need a run time above zero.", "Give it in minutes.")
    batch = run_time_min + job.limits.handling_min
    batches = int(WORKING_DAY_MIN // batch)
    vessels = job.equipment.vessels
    volume_l = vessels * job.sample.fill_volume_ml / 1000.0
    in_a_week = batches * WORKING_DAYS
    return Consequences(
        run_time_min=run_time_min, batch_min=batch, batches_a_day=batches,
        samples_a_day=batches * vessels, samples_a_week=in_a_week * vessels,
        analyst_min_a_week=in_a_week * job.limits.handling_min,
        solvent_l_a_week=in_a_week * volume_l,
        condenser_emptyings_a_week=math.ceil(in_a_week / max(1, job.batches_in_trap)),
        assumption=f"{WORKING_DAY_MIN:g} min a day, {WORKING_DAYS} days a week, one evaporator, "
        f"{job.limits.handling_min:g} min handling a batch, all {vessels} positions in use",
    )
