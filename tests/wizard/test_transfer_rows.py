"""What a method on another vessel says."""

from __future__ import annotations

from experiments import example_dossiers
from experiments.answers import Interval
from experiments.job_file import parse
from experiments.method_transfer import Transfer
from experiments.verification_plan import DesignChance
from wizard.charts.before_after import before_after_chart
from wizard.charts.palette import LIGHT
from wizard.units import Units
from wizard.view_models.transfer_rows import (
    batch_text,
    transfer_fields,
    transfer_lines,
    transfer_rows,
)

JOB = parse(next(e for e in example_dossiers.names() if "keeper" in e.key).job)


def found() -> Transfer:
    steady = Interval(91.0, 88.0, 94.0)
    recovery = {a.name: (steady, Interval(87.4, 80.0, 93.0)) for a in JOB.analytes}
    times = (Interval(40.0, 36.0, 44.0), Interval(40.3, 30.0, 52.0))
    return Transfer({}, (), times, recovery, (0.97, 0.61), DesignChance(6, 6, 0.9), ())


def test_the_fields_show_a_keeper_only_where_there_is_one():
    paths = [f.path for f in transfer_fields(JOB)]
    assert "sample.keeper.volume_ml" in paths
    assert "equipment.vessels" in paths
    without = parse(next(e for e in example_dossiers.names() if "keeper" not in e.key).job)
    assert "sample.keeper.volume_ml" not in [f.path for f in transfer_fields(without)]


def test_the_batch_is_told_in_words():
    assert batch_text(JOB, Units()) == "24 vessels of 40 mL, 18 mL in each"


def test_the_rows_tell_before_and_after_and_the_difference():
    lines = transfer_lines(found(), JOB, Units(decimal="comma"))
    assert [line[""] for line in lines] == [
        "run time", *(a.name for a in JOB.analytes), "every target met"]
    assert lines[0]["difference"] == "same"
    assert lines[1]["difference"] == "−4 points"
    assert lines[2]["asked"].startswith("watched")
    assert lines[-1]["asked"] == "95 %"
    assert "61" in lines[-1]["changed"]


def test_the_chart_draws_both_with_the_target():
    rows = transfer_rows(found(), JOB)
    assert [r.target for r in rows] == [a.target_recovery_percent for a in JOB.analytes]
    spec = before_after_chart(rows, LIGHT).to_dict()
    said = [row["said"] for row in spec["data"]["values"]]
    assert "QX-17, changed: 87 % (80 to 93), target 85 %" in said
    assert "%" in spec["layer"][1]["encoding"]["x"]["title"]
