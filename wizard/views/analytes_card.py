"""The analytes of a job: lists, search, a row each, and what a data sheet gives of a new one."""

from __future__ import annotations

from typing import Any

import streamlit as st

from wizard import frame, presets
from wizard.job_form import JobForm, Place
from wizard.verbatim import verbatim
from wizard.view_models.job_fields import Field, analyte_fields, data_sheet_fields
from wizard.view_models.substance_choice import cas_of, offered
from wizard.views.job_cards import grid, heads, preset

WIDTHS = (9, 5, 10, 3)


def analytes_card(form: JobForm) -> None:
    """What must come back."""
    with st.container(border=True):
        st.subheader("What must come back", anchor=False)
        left, right = st.columns(2)
        with left:
            chosen = preset("Add a list", list(presets.ANALYTES), "job.preset.analytes",
                            "lists of our own, to start from")
            if chosen:
                _add(form, presets.analyte_rows(chosen))
        with right:
            _search(form)
        _new_analyte(form)
        rows = form.value("analytes") or []
        if not rows:
            st.markdown("Nothing yet: add a list, search, or enter a new analyte.")
        with st.container(key="job-analytes"):
            if rows:
                heads(("Analyte", "Target recovery, %", "Role", ""), WIDTHS)
            names = [_row(form, i, rows) for i in range(len(rows))]
        form.slots["analytes"] = st.empty()
        if rows:
            _details(form, rows)
        for i, place in enumerate(names):
            _name(place, form.value(f"analytes[{i}]"))


def _search(form: JobForm) -> None:
    names = offered(("analyte",))
    added = preset("Add an analyte", list(names.values()), "job.add.analyte",
                   "name, synonym or CAS number")
    if added:
        name = next(n for n, label in names.items() if label == added)
        _add(form, [{"name": name, "cas": cas_of(name), "target_recovery_percent": 85,
                     "role": "must"}])


def _new_analyte(form: JobForm) -> None:
    """An analyte that is not in the library: named here, described below."""
    key, asked = "job.new.analyte", "job.new.analyte.asked"

    def ask() -> None:
        st.session_state[asked] = st.session_state[key].strip()

    name = st.session_state.pop(asked, "")
    is_there = bool(name) and name.casefold() in _names(form)
    if name and not is_there:
        _add(form, [{"name": name, "target_recovery_percent": 85, "role": "must",
                     "vapour_pressure": []}])
        st.session_state[key] = ""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.text_input("A new analyte, not in the library", key=key,
                      placeholder="its name or code", width="stretch")
        st.button("Add it", key="job.new.analyte.add", icon=":material/add:", on_click=ask)
    if is_there:
        st.markdown(f":red[:material/error: {verbatim(name)} is in the list already. Give the "
                    "new one another name.]")


def _names(form: JobForm) -> set[str]:
    return {str(r.get("name")).casefold() for r in form.value("analytes") or []}


def _add(form: JobForm, rows: list[dict[str, Any]]) -> None:
    names = _names(form)
    form.put("analytes", [*(form.value("analytes") or []),
                          *(r for r in rows if r["name"].casefold() not in names)])


def _row(form: JobForm, i: int, rows: list[dict[str, Any]]) -> Place:
    """An analyte's fields; gives the place of its name, for when the details below are read."""
    row = rows[i]
    at = f"analytes[{i}]"
    name, target, role, remove = st.columns(WIDTHS, vertical_alignment="center")
    form.field(Field(f"{at}.target_recovery_percent", "Target"), target.container(),
               f"Target recovery of {row.get('name')}", is_headed=True)
    form.field(Field(f"{at}.role", "Role", "choice",
                     (("must", "must be kept"), ("watch", "is watched")), optional=True),
               role.container(), f"Role of {row.get('name')}", is_headed=True)
    if remove.button("", key=f"job.remove.analyte.{i}", icon=":material/close:",
                     help=f"Remove {row.get('name')}"):
        form.put("analytes", [r for k, r in enumerate(rows) if k != i])
        form.save()
        frame.again()
    form.slots[f"{at}.name"] = st.empty()
    return name.empty()


def _name(place: Place, row: dict[str, Any]) -> None:
    place.markdown(f"**{verbatim(row.get('name') or '…')}**  \n"
                   f":gray[{verbatim(_described(row))}]")


def _described(row: dict[str, Any]) -> str:
    points = [p for p in row.get("vapour_pressure") or [] if p]
    given = "described by you" if points or row.get("boiling_point") or row.get("smiles") else ""
    cas = row.get("cas") or cas_of(str(row.get("name")))
    return ", ".join(filter(None, [cas, given])) or "not described yet"


def _details(form: JobForm, rows: list[dict[str, Any]]) -> None:
    names = [str(r.get("name") or f"analyte {i + 1}") for i, r in enumerate(rows)]
    with st.expander("Spike, CAS number, or what the data sheet gives"):
        chosen = st.selectbox("Analyte", range(len(names)), index=len(names) - 1,
                              key=f"job.details.analyte.{len(names)}",  # the last one added
                              format_func=lambda i: names[i] if i < len(names) else "…")
        st.caption(
            "For an analyte that is not in the library a molar mass with one vapour pressure or "
            "one boiling point is enough; a structure alone gives an estimate."
        )
        index = min(int(chosen or 0), len(names) - 1)
        grid(form, analyte_fields(index))
        grid(form, data_sheet_fields(index), 2)  # what belongs together stands side by side
