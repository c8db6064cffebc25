"""Fields to correct a result in: what it is now stands in them."""

from __future__ import annotations

from typing import NamedTuple

import streamlit as st

from experiments.corrections import Amendment
from experiments.job import EvaporationJob
from experiments.trials import OUTCOMES, Result
from wizard.typing_table import Heads
from wizard.units import NotANumber, read_number
from wizard.verbatim import verbatim
from wizard.view_models.correction_rows import read_readings, reading_rows
from wizard.views.kept import KeptForm


class Typed(NamedTuple):
    """What stands in the fields."""

    time: str
    outcome: str
    day: str
    remark: str
    rows: list[list[str]]
    reason: str


def _heads(job: EvaporationJob) -> Heads:
    """A column for each analyte, beside the vessel."""
    texts = ["vessel", *(f"{a.name}, %" for a in job.analytes)]
    return Heads(texts, 1, numeric=frozenset(range(1, len(texts))),
                 helps=dict.fromkeys(range(1, len(texts)), "Empty: not measured; <5: below 5."))


def correction_fields(form: KeptForm, job: EvaporationJob, result: Result) -> Typed:
    """Draw the fields; kept as they are typed."""
    sign = form.session.units.sign
    places = st.columns(3)
    time = form.text("time", "Run time, min", sign(
        "" if result.run_time_min is None else f"{result.run_time_min:g}"), places[0])
    outcome = form.choice("outcome", "Outcome", OUTCOMES, result.outcome, where=places[1])
    day = form.text("day", "Day", result.day, places[2])
    rows = form.table("readings", "Recoveries by vessel", _heads(job),
                      reading_rows(job, result, sign))
    remark = form.text("remark", "Remark", result.remark)
    reason = form.text("why", "Why", placeholder="the reason stands in the record")
    return Typed(time, outcome, day, remark, rows, reason)


def amendment(job: EvaporationJob, typed: Typed) -> Amendment | None:
    """The correction typed; None, with what is wrong said, where a number cannot be read."""
    try:
        return {
            "run_time_min": read_number(typed.time) if typed.time.strip() else None,
            "outcome": typed.outcome, "recovery_percent": read_readings(job, typed.rows),
            "remark": typed.remark, "day": typed.day,
        }
    except NotANumber as error:
        st.error(verbatim(f"{error} Nothing was changed."))
        return None
