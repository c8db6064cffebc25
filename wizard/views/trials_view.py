"""Trials worth running: propose, see why, print the bench sheet, take back."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from experiments import service
from experiments.authorisation import unauthorised
from experiments.bench_sheet import trial_sheet
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from experiments.trials import Trial
from wizard import answers, frame, waiting
from wizard.session import WizardSession
from wizard.verbatim import verbatim
from wizard.view_models.trial_cards import (
    budget_sentence,
    trial_card,
    trials_left,
    with_forecast,
)
from wizard.view_models.window_map import nearest_ramp
from wizard.views.cautions_view import DEFER, show_findings
from wizard.views.kept import KeptForm
from wizard.views.map_view import show_map
from wizard.views.sheet_view import bench_sheet


def render(session: WizardSession) -> None:
    """Draw the pending trials, their map, and what can be done with them."""
    dossier = session.must_dossier()
    if dossier.state in FROZEN:
        st.markdown("This dossier is closed; more trials belong to a new version of it.")
    else:
        st.markdown(budget_sentence(dossier.job, dossier.trials))
    stopped = session.take_mark("stop_reason")
    if stopped:
        st.info(f"Nothing more is worth running: {verbatim(session.units.sentence(stopped))}.",
                icon=":material/flag:")
    if not _authorised(session, dossier):
        return
    pending = dossier.pending
    _propose(session, dossier)
    if not pending:
        if dossier.state not in FROZEN:
            st.markdown("Proposals come with a reason and a forecast each.")
        return
    bench_sheet(lambda: trial_sheet(dossier, [t.id for t in pending]),
                f"bench-sheet-{dossier.id}", "trials")
    for trial in _foreseen(dossier, pending):
        _card(session, dossier, trial)
    st.subheader("Where they lie", anchor=False)
    first = pending[0].setting
    show_map(session, dossier, nearest_ramp(dossier.job, first), first)


def _authorised(session: WizardSession, dossier: Dossier) -> bool:
    """Dangers that hold the job back until somebody authorises it by name."""
    findings = unauthorised(dossier)
    if not findings:
        return True
    show_findings(findings, session.units, "This job waits for an authorisation")
    st.caption(DEFER)
    form = KeptForm(session, f"authorise:{dossier.id}")
    with st.container(border=True):
        name = form.text("by", "Authorised by")
        why = form.text("why", "On what grounds")
        if st.button("Note the authorisation", type="primary", key="trials.authorise"):
            service.authorise(session.service, dossier.id, name, why)
            form.done()
            frame.again()
    return False


def _propose(session: WizardSession, dossier: Dossier) -> None:
    if dossier.state in FROZEN:
        return
    left = trials_left(dossier.job, dossier.trials)
    if not left:
        st.markdown("The trials of this job are used up; more of them are a new version of the "
                    "job, with a larger number in its limits.")
        return
    usual = min(dossier.job.limits.trials_per_batch, left)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        count = st.number_input("How many more", 1, left, usual, key=f"trials.count.{left}",
                                width=160)
        asked = st.button("Propose trials", key="trials.propose", icon=":material/science:",
                          type="secondary" if dossier.pending else "primary")
    if asked:
        found, trials = waiting.act(
            "Proposing trials",
            lambda p: service.propose(session.service, dossier.id, int(count), p),
        )
        if len(trials) < count and found.stop_reason:
            session.mark("stop_reason", found.stop_reason)
        frame.again()


def _foreseen(dossier: Dossier, pending: Sequence[Trial]) -> list[Trial]:
    """The trials, each with a forecast: those proposed have that of their proposal."""
    without = [t for t in pending if not t.run_time_min]
    found = answers.fitted(dossier) if without else None
    if found is None:
        return list(pending)
    now = dict(zip([t.id for t in without], found.forecast([t.setting for t in without]),
                   strict=True))
    return [with_forecast(t, now[t.id]) if t.id in now else t for t in pending]


def _card(session: WizardSession, dossier: Dossier, trial: Trial) -> None:
    card = trial_card(trial, dossier.job, session.units)
    with st.container(border=True):
        st.markdown(f"**{verbatim(card.heading)}**")
        st.markdown(verbatim(card.reason))
        left, right = st.columns((1, 2))
        left.metric("Expected run time", card.run_time)
        left.caption(card.run_time_range)
        right.markdown("\n".join(f"- {verbatim(line)}" for line in card.recoveries))
        if st.button("Take it back", key=f"trials.withdraw.{trial.id}", icon=":material/undo:",
                     help=f"Withdraw {trial.id}; it stays in the record as withdrawn."):
            service.withdraw(session.service, dossier.id, trial.id)
            frame.again()
