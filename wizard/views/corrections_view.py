"""Results on record, and how one is corrected: by a further entry that says why."""

from __future__ import annotations

import streamlit as st

from experiments import service
from experiments.dossier import Dossier
from experiments.trials import OUTCOMES, Trial
from wizard import frame
from wizard.session import WizardSession
from wizard.units import NotANumber, read_number
from wizard.verbatim import literal
from wizard.view_models.settings_text import recovery_text, result_text, setting_text
from wizard.views.kept import KeptForm


def corrections(session: WizardSession, dossier: Dossier) -> None:
    """The recorded runs, and a form for corrections, exclusions and their undoing."""
    recorded = [t for t in dossier.trials if t.result is not None]
    if not recorded:
        return
    st.subheader("On record", anchor=False)
    lines = [_line(t, session, dossier) for t in recorded]
    st.table(literal(lines).fillna("").set_index("trial"), border="horizontal")
    if dossier.state in ("approved", "retired"):
        return
    with st.expander("Correct a result, or keep it out of the fit", icon=":material/edit:"):
        st.caption("The old entry stays in the record; the correction says who, when and why.")
        settings = {t.id: setting_text(t.setting, session.units, dossier.job) for t in recorded}
        chosen = st.selectbox("Trial", list(settings), key="correct.trial",
                              format_func=lambda trial_id: f"{trial_id}: {settings[trial_id]}")
        if chosen is not None:
            _form(session, dossier, dossier.trial(chosen))


def _line(trial: Trial, session: WizardSession, dossier: Dossier) -> dict[str, str]:
    assert trial.result is not None
    line = {"trial": trial.id, "setting": setting_text(trial.setting, session.units, dossier.job),
            "result": result_text(trial)}
    for analyte in dossier.job.analytes:
        line[analyte.name] = recovery_text(
            trial.result, analyte.name, dossier.job.equipment.vessels)
    if trial.result.remark:
        line["remark"] = trial.result.remark
    return line


def _form(session: WizardSession, dossier: Dossier, trial: Trial) -> None:
    result = trial.result
    assert result is not None
    form = KeptForm(session, f"correct:{dossier.id}:{trial.id}:{len(dossier.events)}")
    with st.container(border=True):
        left, right = st.columns(2)
        time = form.text("time", "Run time, min", session.units.sign(
            "" if result.run_time_min is None else f"{result.run_time_min:g}"), left)
        outcome = form.choice("outcome", "Outcome", OUTCOMES, result.outcome, where=right)
        readings = {
            analyte.name: form.text(
                analyte.name, f"Recovery of {analyte.name}, %",
                session.units.sign("; ".join("" if r is None else str(r)
                                   for r in result.recovery.get(analyte.name, ()))),
                help="In vessel order, separated by semicolons; an empty place is “not measured”.")
            for analyte in dossier.job.analytes
        }
        reason = form.text("why", "Why", placeholder="the reason stands in the record")
        with st.container(horizontal=True):
            is_correct = st.button("Enter the correction", type="primary", key="correct.enter")
            label = "Let it count again" if trial.state == "excluded" else "Keep it out of the fit"
            is_turned = st.button(label, key="correct.turn")
    if is_turned:
        act = service.include if trial.state == "excluded" else service.exclude
        act(session.service, dossier.id, trial.id, reason)
        form.done()
        frame.again()
    if is_correct and _correct(session, dossier, trial, (time, outcome, readings, reason)):
        form.done()
        frame.again()


def _correct(
    session: WizardSession, dossier: Dossier, trial: Trial,
    typed: tuple[str, str, dict[str, str], str],
) -> bool:
    """Enter a correction; whether it was entered."""
    time, outcome, readings, reason = typed
    try:
        minutes = read_number(time) if time.strip() else None
        recovery = {name: _values(text, bool(trial.result and trial.result.is_mean.get(name)))
                    for name, text in readings.items()}
    except NotANumber as error:
        st.error(f"{error} Nothing was changed.")
        return False
    service.correct(session.service, dossier.id, trial.id, reason, run_time_min=minutes,
                    outcome=outcome, recovery_percent=recovery)
    return True


def _values(text: str, is_mean: bool) -> object:
    """Readings in vessel order; one single reading of a mean stays a mean."""
    values: list[object] = []
    for part in text.split(";"):
        bare = part.strip()
        if not bare:
            values.append(None)
        elif bare.startswith("<"):
            values.append(f"<{read_number(bare[1:]):g}")
        else:
            values.append(read_number(bare))
    return values[0] if is_mean and len(values) == 1 else values
