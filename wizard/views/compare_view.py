"""Trials, settings or dossiers against each other."""

from __future__ import annotations

import streamlit as st

from experiments import comparison, service
from experiments.differences import ALLOWANCE, RECOVERY_MARGIN, Comparison
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.method_in_use import today_against_recommended
from wizard import answers, caching, waiting
from wizard.charts.differences import differences_chart
from wizard.charts.palette import palette
from wizard.session import WizardSession, digest
from wizard.verbatim import literal, verbatim
from wizard.view_models import compare_rows
from wizard.view_models.settings_text import setting_text
from wizard.views import drawing
from wizard.views.setting_view import stepped_setting

WAYS = {"trials": "Trials", "settings": "Settings", "today": "Method in use and recommended",
        "dossiers": "Dossiers"}


def render(session: WizardSession) -> None:
    """Draw the choice and its comparison."""
    dossier = session.must_dossier()
    way = st.segmented_control("What to compare", list(WAYS), default="trials", required=True,
                               format_func=lambda w: WAYS[w], key="compare.way",
                               persist_state="session")
    try:
        found = _found(session, dossier, str(way))
    except EntryError as error:
        st.markdown(f":material/edit: {verbatim(f'{error.message} {error.cure}')}")
        return
    if found is not None:
        _show(session, found)


def _found(session: WizardSession, dossier: Dossier, way: str) -> Comparison | None:
    if way == "trials":
        return _trials(session, dossier)
    if way == "settings":
        return _settings(session, dossier)
    if way == "today":
        if dossier.job.today is None:
            raise EntryError("This job names no method in use.", "Give it on the Job page of a "
                             "new version.")
        if answers.fitted(dossier) is None:
            return None
        return waiting.answer("today", answers.record_key(dossier), "Comparing",
                              lambda _: today_against_recommended(dossier))
    return _dossiers(session, dossier)


def _trials(session: WizardSession, dossier: Dossier) -> Comparison | None:
    names = {t.id: f"{t.id}: {setting_text(t.setting, session.units, dossier.job)}"
             for t in dossier.recorded}
    if len(names) < 2:
        raise EntryError("Fewer than two runs are recorded.", "Record more results first.")
    start = list(names)[:1] + list(names)[-1:]
    chosen = st.multiselect("Trials, the first is what the others are held against", list(names),
                            default=start, key=f"compare.trials.{dossier.id}",
                            format_func=lambda i: names.get(i, i), persist_state="session")
    if len(chosen) < 2:
        raise EntryError("Choose two trials or more.", "")
    key = digest(answers.record_key(dossier), chosen)
    return caching.kept("compare", key, lambda: comparison.compare_trials(dossier, chosen))


def _settings(session: WizardSession, dossier: Dossier) -> Comparison | None:
    """Forecasts of any settings: the method in use, the recommended one, those of trials."""
    named = compare_rows.named_settings(dossier)
    tried = stepped_setting(session, dossier, "whatif")
    if tried is not None:
        named["as on What-if"] = tried
    if len(named) < 2:
        raise EntryError("There are no two settings to compare yet.",
                         "Propose trials, or step a setting on the page What-if.")
    chosen = st.multiselect(
        "Settings, the first is what the others are held against", list(named),
        default=list(named)[:2], key=f"compare.settings.{dossier.id}", persist_state="session",
        format_func=lambda n: f"{n}: {setting_text(named[n], session.units, dossier.job)}"
        if n in named else n)
    if len(chosen) < 2:
        raise EntryError("Choose two settings or more.", "")
    if answers.fitted(dossier) is None:
        return None
    settings = {name: named[name] for name in chosen}
    key = digest(answers.record_key(dossier), settings)
    return caching.kept("settings", key, lambda: comparison.compare_settings(dossier, settings))


def _dossiers(session: WizardSession, dossier: Dossier) -> Comparison | None:
    titles = {s.id: f"{s.title} ({s.id})" for s in service.summaries(session.service)
              if s.id != dossier.id and s.state in ("recommended", "verified", "approved")}
    if not titles:
        raise EntryError("No other dossier has a recommended setting.", "Bring one on.")
    other = st.selectbox("The other dossier", list(titles), format_func=lambda i: titles.get(i, i),
                         key="compare.dossier", persist_state="session")
    loaded = service.load(session.service, str(other))
    key = digest(answers.record_key(dossier), answers.record_key(loaded))
    return waiting.answer("dossiers", key, "Comparing the recommended settings",
                          lambda _: comparison.compare_dossiers(dossier, [loaded]))


def _show(session: WizardSession, found: Comparison) -> None:
    units, colours = session.units, palette(session.theme)
    st.markdown(f"#### {verbatim(units.sentence(compare_rows.headline(found)))}")
    for line in compare_rows.further(found):
        st.markdown(verbatim(units.sentence(line)))
    left_open = compare_rows.open_sentence(found)
    if left_open:
        st.markdown(verbatim(units.sentence(left_open)))
    methods = compare_rows.method_lines(found)
    if methods:
        st.table(literal(methods).set_index(""), border="horizontal")
    for unit, margin, title in (("points", RECOVERY_MARGIN, "Recoveries"),
                                ("min", None, "Run times")):
        rows = compare_rows.chart_rows(found, unit)
        if rows:
            st.markdown(f"**{title}**")
            word = "percentage points" if unit == "points" else unit
            drawing.show(differences_chart, rows, margin, word, colours)
    lines = compare_rows.difference_lines(found, units)
    if lines:
        st.caption(f"Second minus first. {ALLOWANCE} Trials of one setting are taken together. "
                   "The shaded band of a chart is a difference that does not matter.")
        st.table(literal(lines).set_index("what"), border="horizontal")
