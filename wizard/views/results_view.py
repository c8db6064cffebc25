"""Entering what came back: type it, paste it or give the file; nothing counts until confirmed."""

from __future__ import annotations

from typing import Any

import streamlit as st

from experiments import service
from experiments.bench_sheet import trial_sheet
from experiments.dossier import Dossier
from experiments.dossier_state import FROZEN
from wizard import editors, frame
from wizard.session import WizardSession
from wizard.typing_table import typing_table
from wizard.verbatim import verbatim
from wizard.view_models.results_preview import preview
from wizard.views.corrections_view import corrections
from wizard.views.logs_view import logs
from wizard.views.preview_view import show_preview
from wizard.views.undo import undo_button

WAYS = {"type": "Type it in", "paste": "Paste a table", "file": "Give the filled sheet"}

KINDS: dict[editors.Rows, str] = {
    "vessel": "Recoveries, one row a vessel", "trial": "Mean recoveries, one row a trial",
    "amounts": "Amounts found in µg, with blank and references",
}
HINTS: dict[editors.Rows, str] = {
    "vessel": "<5 stands for below 5 %.", "trial": "<5 stands for below 5 %.",
    "amounts": "Recovery = (found − blank) / mean of the unevaporated references at final volume; "
               "<0.2 stands for below 0.2 µg.",
}


def render(session: WizardSession) -> None:
    """Draw the entry, its preview, and the results recorded so far."""
    dossier = session.must_dossier()
    done = session.take_mark("recorded")
    if done:
        st.success(f"Recorded {done}. The forecasts now rest on it.", icon=":material/task_alt:")
    waiting = dossier.pending
    if waiting:
        names = ", ".join(t.id for t in waiting)
        st.markdown(f"Waiting for results: **{names}**. Enter what you have; the rest can follow.")
    elif dossier.state not in FROZEN:
        st.markdown("No proposed trial waits for a result. A run nobody proposed counts too: "
                    "paste it, or give it in a sheet, with its settings and an empty trial cell.")
    if dossier.state in FROZEN:
        st.markdown("This dossier is closed; results are entered in a new version.")
    else:
        _entry(session, dossier)
    logs(session, dossier)
    corrections(session, dossier)


def _entry(session: WizardSession, dossier: Dossier) -> None:
    st.subheader("Enter results", anchor=False)
    way = st.segmented_control("How", list(WAYS), default="type" if dossier.pending else "paste",
                               format_func=lambda w: WAYS[w], key="results.way", required=True,
                               label_visibility="collapsed")
    data: str | bytes | None
    if way == "type":
        data = _grid(session, dossier)
    elif way == "paste":
        data = _paste(session, dossier)
    else:
        data = _file(session)
    if data:
        _confirm(session, dossier, data, str(way))


def _draft_name(dossier: Dossier, way: str) -> str:
    return f"results:{dossier.id}:{way}"


def _grid(session: WizardSession, dossier: Dossier) -> str | None:
    """A table of fields; its content is kept as a draft at every change."""
    if not dossier.pending:
        st.markdown("There is nothing to fill in here; propose trials first, or paste a table.")
        return None
    kind = st.selectbox("What you have", list(KINDS), format_func=lambda k: KINDS[k],
                        key="results.kind", persist_state="session")
    columns = editors.results_columns(dossier.job, kind)
    name = _draft_name(dossier, f"type:{kind}")
    key = f"{name}:{'+'.join(t.id for t in dossier.pending)}:{session.generation(name)}"
    blank = editors.results_rows(dossier.job, dossier.pending, kind)
    st.caption(f"Saved as you type. {HINTS[kind]} Decimal points or commas, one of them "
               "throughout. Run time and outcome need to stand in one row of a trial only.")
    if kind == "vessel":
        hint = editors.blank_hint(trial_sheet(dossier, [t.id for t in dossier.pending]))
        if hint:
            st.caption(hint)
    with st.container(horizontal=True, vertical_alignment="center"):
        undo = st.empty()
        corrected = _corrected(session, name)
    kept = session.draft(name)
    stored = _restored(kept, columns, blank)
    typed = typing_table("Results of the trials", editors.results_heads(dossier.job, kind),
                         stored, key)
    rows = editors.merged(st.session_state.get(f"seen:{key}", stored), typed, stored)
    content = {} if rows == blank else {"columns": columns, "rows": rows}
    if content != (kept or {}):
        session.keep_draft(name, content)
    if rows != typed:  # another tab wrote in the meantime
        session.renew(name)
        frame.again()
    st.session_state[f"seen:{key}"] = rows
    with undo:
        undo_button(session, name)
    if not content:
        return None
    filled = _filled(columns, rows)
    if corrected:
        return editors.as_csv([*columns, "corrected"], [[*row, "yes"] for row in filled])
    return editors.as_csv(columns, filled)


def _corrected(session: WizardSession, name: str) -> bool:
    """Whether a standard was added before the evaporation; kept beside what is typed."""
    kept = bool((session.draft(f"{name}:corrected") or {}).get("on"))
    on = st.toggle("A standard was added before the evaporation", kept,
                   key=f"{name}:corrected:{session.generation(name)}",
                   help="It is lost with the analytes, so the recoveries are “corrected” and hide "
                        "losses: they are kept, labelled, and not learnt from.")
    if on != kept:
        session.keep_draft(f"{name}:corrected", {"on": True} if on else {})
    return on


def _restored(
    draft: dict[str, Any] | None, columns: list[str], blank: list[list[str]]
) -> list[list[str]]:
    """The rows of a draft where they fit the rows to fill in now."""
    if not draft or draft.get("columns") != columns or not isinstance(draft.get("rows"), list):
        return blank
    lead = 2 if "vessel" in columns else 1
    kept = {tuple(r[:lead]): list(r) for r in draft["rows"]}
    return [kept.get(tuple(row[:lead]), row) for row in blank]


def _filled(columns: list[str], rows: list[list[str]]) -> list[list[str]]:
    """Only trials with something in them; a run time typed once stands for its vessels."""
    lead = 2 if "vessel" in columns else 1
    begun = {row[0] for row in rows if any(cell.strip() for cell in row[lead:])}
    return [row for row in rows if row[0] in begun]


def _paste(session: WizardSession, dossier: Dossier) -> str | None:
    name = _draft_name(dossier, "paste")
    kept = str((session.draft(name) or {}).get("text", ""))
    key = f"{name}:{session.generation(name)}"
    columns = ["trial", *(f.name for f in dossier.job.free_factors), "vessel", "run_time_min",
               "outcome", *(f"recovery_percent:{a.name}" for a in dossier.job.analytes)]
    text = st.text_area("Rows copied from a spreadsheet, with their header", value=kept, key=key,
                        height=220, placeholder="\t".join(columns))
    if text != kept:
        session.keep_draft(name, {"text": text} if text.strip() else {})
    undo_button(session, name)
    with st.expander("Which columns?"):
        st.markdown("Those of the bench sheet. Not all are needed: " + ", ".join(
            map(verbatim, columns)))
        st.markdown("Instead of recoveries: amounts found, `found_ug:` and the analyte, with rows "
                    "whose vessel is `blank` or `reference`. `corrected` with `yes` tells that a "
                    "standard was added before the evaporation.")
    return text if text.strip() else None


def _file(session: WizardSession) -> bytes | None:
    given = st.file_uploader("The filled bench sheet", type=["csv", "xlsx", "txt", "tsv"],
                             key=f"results.file.{session.generation('results.file')}")
    return given.getvalue() if given is not None else None


def _confirm(session: WizardSession, dossier: Dossier, data: str | bytes, way: str) -> None:
    table = service.preview_table(session.service, dossier.id, data)
    rows = editors.row_names(data) if way == "type" and isinstance(data, str) else []
    shown = preview(table, dossier.job, dossier.trials, session.units, rows)
    with st.container(border=True):
        show_preview(shown)
        if shown.may_record and st.button("Record these results", type="primary",
                                          key="results.record", icon=":material/check:"):
            _, _, ids = service.record_table(session.service, dossier.id, data)
            _clear(session, dossier, way)
            session.mark("recorded", ", ".join(ids))
            frame.again()


def _clear(session: WizardSession, dossier: Dossier, way: str) -> None:
    for kind in [f"type:{kind}" for kind in KINDS] if way == "type" else [way]:
        name = _draft_name(dossier, kind)
        session.drop_draft(name)
        session.drop_draft(f"{name}:corrected")
        session.renew(name)
    session.renew("results.file")
