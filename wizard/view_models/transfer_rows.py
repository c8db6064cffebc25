"""A method on another vessel, fill or count: its fields, and the answer in rows."""

from __future__ import annotations

from experiments.answers import Interval
from experiments.job import EvaporationJob
from experiments.method_transfer import Transfer
from experiments.wording import as_asked, percent
from wizard.charts.before_after import BeforeAfter
from wizard.units import Units, change_text
from wizard.view_models.job_fields import KEEPER_VOLUME, Field
from wizard.view_models.settings_text import goal, minutes, recovery_range

VESSELS = (
    Field("equipment.vessels", "Vessels spinning together"),
    Field("equipment.vessel_capacity_ml", "Volume of a vessel", help="To the brim."),
    Field("sample.fill_volume_ml", "Fill of each vessel", help="At 20 °C, without the keeper."),
)
CONDENSER = (
    Field("equipment.condenser_capacity_ml", "Trap holds",
          help="All the solvent of a batch has to fit."),
    Field("sample.residue_mg", "Residue in a dry vessel", optional=True,
          help="More extract leaves more behind; it holds traces back."),
)


def transfer_fields(job: EvaporationJob) -> tuple[Field, ...]:
    """What may change from one vessel to another; a keeper only where the job has one."""
    has_keeper = job.sample.keeper is not None
    return (*VESSELS, *((KEEPER_VOLUME,) if has_keeper else ()), *CONDENSER)


def batch_text(job: EvaporationJob, units: Units) -> str:
    """The batch in a few words, e.g. ``12 vessels of 100 mL, 40 mL in each``."""
    capacity = units.text("vessel_capacity_ml", job.equipment.vessel_capacity_ml, 4)
    fill = units.text("fill_volume_ml", job.sample.fill_volume_ml, 4)
    return f"{job.equipment.vessels} vessels of {capacity}, {fill} in each"


def transfer_lines(
    found: Transfer, job: EvaporationJob, units: Units
) -> list[dict[str, str]]:
    """Run time, recoveries and the chance of it all, as it is and as it would be."""
    before, after = found.run_time_min
    lines = [{"": "run time", "asked": f"at most {job.limits.max_run_time_min:g} min",
              "now": minutes(before), "changed": minutes(after),
              "difference": _change(before, after, "min")}]
    for analyte in job.analytes:
        before, after = found.recovery_percent[analyte.name]
        lines.append({"": analyte.name, "asked": goal(analyte),
                      "now": recovery_range(before), "changed": recovery_range(after),
                      "difference": _change(before, after, "points")})
    was, becomes = found.probability
    lines.append({"": "every target met", "asked": as_asked(job.limits.assurance),
                  "now": percent(was), "changed": percent(becomes), "difference": ""})
    return [{k: units.sign(v) for k, v in line.items()} for line in lines]


def _change(before: Interval, after: Interval, unit: str) -> str:
    return change_text(after.mean - before.mean, unit)


def transfer_rows(found: Transfer, job: EvaporationJob) -> list[BeforeAfter]:
    """The recoveries for the chart."""
    pairs = ((a, found.recovery_percent[a.name]) for a in job.analytes)
    return [BeforeAfter(a.name, _span(before), _span(after), a.target_recovery_percent)
            for a, (before, after) in pairs]


def _span(found: Interval) -> tuple[float, float, float]:
    return found.mean, found.low, found.high
