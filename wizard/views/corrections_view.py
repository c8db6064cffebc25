"""Results on record, and how one is corrected: by a further entry that says why."""

from __future__ import annotations

import streamlit as st

from experiments import service
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from experiments.trials import Trial
from wizard import frame
from wizard.session import WizardSession
from wizard.verbatim import literal
from wizard.view_models.settings_text import (
    is_corrected,
    recovery_text,
    result_text,
    setting_text,
)
from wizard.views.correction_form import amendment, correction_fields
from wizard.views.kept import KeptForm


def corrections(session: WizardSession, dossier: Dossier) -> None:
    """The recorded runs, and a form for corrections, exclusions and their undoing."""
    recorded = [t for t in dossier.trials if t.result is not None]
    if not recorded:
        return
    st.subheader("On record", anchor=False)
    done = session.take_mark("corrected")
    if done:
        st.success(done, icon=":material/task_alt:")
    lines = [_line(t, session, dossier) for t in recorded]
    st.table(literal(lines).fillna("").set_index("trial"), border="horizontal")
    if dossier.state in FROZEN:
        return
    with st.expander("Correct a result, or keep it out of the fit", icon=":material/edit:"):
        st.caption("The old entry stays in the record; the correction says who, when and why.")
        settings = {t.id: setting_text(t.setting, session.units, dossier.job) for t in recorded}
        chosen = st.selectbox("Trial", list(settings), None, key="correct.trial",
                              placeholder="which one?",
                              format_func=lambda trial_id: f"{trial_id}: {settings[trial_id]}")
        if chosen is not None:
            _form(session, dossier, dossier.trial(chosen))


def _line(trial: Trial, session: WizardSession, dossier: Dossier) -> dict[str, str]:
    assert trial.result is not None
    line = {"trial": trial.id, "setting": setting_text(trial.setting, session.units, dossier.job),
            "result": result_text(trial) + (
                ", entry corrected" if is_corrected(dossier, trial.id) else "")}
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
        typed = correction_fields(form, dossier.job, result)
        with st.container(horizontal=True):
            is_correct = st.button("Enter the correction", type="primary", key="correct.enter")
            label = "Let it count again" if trial.state == "excluded" else "Keep it out of the fit"
            is_turned = st.button(label, key="correct.turn")
    if is_turned:
        act = service.include if trial.state == "excluded" else service.exclude
        act(session.service, dossier.id, trial.id, typed.reason)
    values = amendment(dossier.job, typed) if is_correct else None
    if values is not None:
        service.correct(session.service, dossier.id, trial.id, typed.reason, **values)
    if is_turned or values is not None:
        form.done()
        what = _done(trial, is_turned)
        session.mark("corrected", f"{trial.id} {what}. The entry before it stays in the record.")
        frame.again()


def _done(trial: Trial, is_turned: bool) -> str:
    if not is_turned:
        return "is corrected"
    return "counts again" if trial.state == "excluded" else "is kept out of the fit"
