"""The log of a run's instruments: given, its columns confirmed, looked at, then attached."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from experiments import run_logs
from experiments.attached_log import log_of, moments_of
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from experiments.entries import EntryError
from experiments.log_columns import NAMES, NEEDED, UNITS, ColumnChoice
from experiments.log_file import LogTable, read_log_file
from experiments.log_reading import InstrumentLog
from experiments.trials import is_same_time
from wizard import caching, frame
from wizard.charts.palette import palette
from wizard.charts.run_trace import run_trace
from wizard.session import WizardSession, digest
from wizard.units import NotANumber, read_number
from wizard.verbatim import literal, verbatim
from wizard.view_models.log_panels import (
    TIME_UNITS,
    column_options,
    log_events,
    log_panels,
    log_sentence,
    moment_lines,
    ramp_sentence,
    run_time_sentence,
)
from wizard.view_models.settings_text import setting_text
from wizard.views import drawing
from wizard.views.kept import KeptForm

UPLOAD = "logs.file"
NO_UNIT = "choose the unit"


def logs(session: WizardSession, dossier: Dossier) -> None:
    """Logs on record and, in an open dossier, the way to attach one."""
    is_open = dossier.state not in FROZEN
    trials = [t for t in dossier.trials if t.state != "withdrawn"]
    if not trials or not (is_open or dossier.details.traces):
        return
    st.subheader("Logs of the instruments", anchor=False)
    done = session.take_mark("log")
    if done:
        st.success(done, icon=":material/task_alt:")
    st.caption("A CSV with time, chamber pressure and, where the evaporator writes them, the "
               "temperatures of the wall and the coolant. It shows how the run went and sharpens "
               "the fit; it changes no result by itself.")
    said = {t.id: f"{t.id}: {setting_text(t.setting, session.units, dossier.job)}" + (
        " (log attached)" if t.id in dossier.details.traces else "") for t in trials}
    waits = next((n for n, t in enumerate(trials) if t.state == "pending"), 0)
    trial_id = st.selectbox("Trial of the log", list(said), waits, format_func=said.__getitem__,
                            key="logs.trial")
    if trial_id in dossier.details.traces:
        _attached(session, dossier, trial_id, is_open)
    if is_open:
        _new(session, dossier, trial_id)


# -- on record -------------------------------------------------------------------------


def _attached(session: WizardSession, dossier: Dossier, trial_id: str, is_open: bool) -> None:
    held = dossier.details.traces[trial_id]
    with st.container(border=True):
        st.markdown(f"**{verbatim(held['file'])}**, attached to {trial_id}")
        _show(session, log_of(held), held["lid_closed_min"], held["moments"],
              held["findings"], held["data_sha256"])
        recorded = _compare(session, dossier, trial_id, held["moments"])
        suggested = run_logs.suggested_run_time(dossier, trial_id)
        if not is_open:
            return
        differs = suggested is not None and (
            recorded is None or not is_same_time(recorded, suggested))
        if differs and st.button("Take the run time of the log", key="logs.take",
                                 icon=":material/timer:"):
            run_logs.take_run_time(session.service, dossier.id, trial_id)
            session.mark("log", f"The run time of {trial_id} is now that of its log.")
            frame.again()
        with st.expander("This log must not count", icon=":material/link_off:"):
            form = KeptForm(session, f"log-off:{dossier.id}:{trial_id}")
            reason = form.text("why", "Why", placeholder="the reason stands in the record")
            if st.button("Remove the log", key="logs.remove"):
                run_logs.remove(session.service, dossier.id, trial_id, reason)
                form.done()
                session.mark("log", f"The log of {trial_id} no longer counts.")
                frame.again()


def _compare(
    session: WizardSession, dossier: Dossier, trial_id: str,
    moments: Mapping[str, Mapping[str, Any]],
) -> float | None:
    """Say how a log agrees with its trial; gives the run time on record, min."""
    trial = dossier.trial(trial_id)
    early = ramp_sentence(dossier.job, trial.setting, moments, session.units)
    if early is not None:
        st.warning(verbatim(early), icon=":material/info:")
    recorded = None if trial.result is None else trial.result.run_time_min
    st.markdown(verbatim(run_time_sentence(
        moments["run_time"]["min"], recorded, session.units)))
    return recorded


def _show(
    session: WizardSession, log: InstrumentLog, lid_closed_min: float,
    moments: Mapping[str, Mapping[str, Any]], findings: Sequence[str], key: str,
) -> None:
    units = session.units
    drawing.show_stack(run_trace, *log_panels(log, lid_closed_min, units),
                       palette(session.theme), log_events(moments),
                       key=digest(key, lid_closed_min, moments, units, session.theme))
    st.caption(verbatim(log_sentence(log, moments, units)))
    st.table(literal(moment_lines(moments, units)))
    for finding in findings:
        st.warning(verbatim(units.sentence(finding)), icon=":material/info:")
    for note in log.notes:
        st.caption(verbatim(units.sentence(note)))


# -- a new one -------------------------------------------------------------------------


def _new(session: WizardSession, dossier: Dossier, trial_id: str) -> None:
    given = st.file_uploader(f"Log of {trial_id}", type=["csv", "txt", "tsv", "log"],
                             key=f"{UPLOAD}.{session.generation(UPLOAD)}")
    if given is None:
        return
    data = given.getvalue()
    try:
        table = caching.kept("log table", digest(data), lambda: read_log_file(data))
        choices, lid, form = _columns(session, dossier, table)
        if choices is None:
            return
        key = digest(data, sorted(choices.items()), lid, trial_id, dossier.job)
        looked = caching.kept("log", key, lambda: run_logs.look(
            dossier, trial_id, table, choices, lid))
    except (EntryError, NotANumber) as error:
        st.markdown(f":red[:material/error: {verbatim(error)}]")
        return
    with st.container(border=True):
        st.markdown("**Before anything is attached:** is this the run?")
        moments = moments_of(looked.marks)
        _show(session, looked.log, lid, moments, looked.marks.findings, key)
        _compare(session, dossier, trial_id, moments)
        if st.button(f"Attach to {trial_id}", type="primary", key="logs.attach",
                     icon=":material/attach_file:"):
            run_logs.attach(session.service, dossier.id, trial_id, table, given.name, choices,
                            lid)
            form.done()
            session.renew(UPLOAD)
            session.mark("log", f"Attached {given.name} to {trial_id}.")
            frame.again()


def _columns(
    session: WizardSession, dossier: Dossier, table: LogTable
) -> tuple[dict[str, ColumnChoice] | None, float, KeptForm]:
    """Columns, units and lid-close as chosen so far; None while a unit or column is lacking."""
    proposal = run_logs.propose_columns(session.service, dossier, table)
    form = KeptForm(session, f"log:{dossier.id}:{digest(table.headers)}")
    st.markdown("These columns were confirmed before; check them." if proposal.is_known else
                "Which column is what, and in which unit? The proposal rests on the headers.")
    chosen: dict[str, ColumnChoice] = {}
    for quantity, name in NAMES.items():
        left, right = st.columns(2)
        before = proposal.choices.get(quantity, ColumnChoice("", ""))
        options = column_options(table.headers, quantity in NEEDED)
        column = form.choice(f"{quantity}.column", f"Column of the {name}", list(options),
                             before.column, options.__getitem__, left)
        if not column:
            continue
        words = {"": NO_UNIT, **{u: TIME_UNITS.get(u, u) for u in UNITS[quantity]}}
        unit = form.choice(f"{quantity}.unit", f"Unit of the {name}", list(words),
                           before.unit if column == before.column else "", words.__getitem__,
                           right)
        chosen[quantity] = ColumnChoice(column, unit)
    typed = form.text("lid", "Lid closed, min after the first reading", "0")
    lacking = [NAMES[q] for q in NEEDED if q not in chosen]
    lacking += [f"unit of the {NAMES[q]}" for q, c in chosen.items() if not c.unit]
    if lacking:
        st.markdown(f"Still to choose: {', '.join(lacking)}.")
        return None, 0.0, form
    return chosen, read_number(typed), form
