"""The cards of the job page: sample, analytes, evaporator, what may be varied, limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from experiments.job import EXTRA_FACTORS, MAIN_FACTORS
from wizard import frame, presets
from wizard.job_form import JobForm, Place
from wizard.verbatim import verbatim
from wizard.view_models import job_fields as fields
from wizard.view_models.job_draft import drop_factor
from wizard.view_models.job_fields import Field
from wizard.view_models.substance_choice import cas_of, offered


def grid(form: JobForm, wanted: tuple[Field, ...], columns: int = 3) -> None:
    """Fields side by side, in reading order."""
    for start in range(0, len(wanted), columns):
        places = st.columns(columns)
        for place, field in zip(places, wanted[start : start + columns], strict=False):
            form.field(field, place.container())


WIDTHS = (10, 8, 2)


def heads(words: tuple[str, ...], widths: tuple[int, ...]) -> None:
    """Headings over columns of fields; the fields carry the same words for screen readers."""
    for place, word in zip(st.columns(widths), words, strict=True):
        place.caption(word)


def preset(label: str, options: list[str], key: str, hint: str) -> str | None:
    """A choice that fills fields once; the new one when it was just made."""
    taken = f"{key}.taken"

    def take() -> None:
        st.session_state[taken] = st.session_state[key]
        st.session_state[key] = None

    st.selectbox(label, options, index=None, key=key, placeholder=hint, on_change=take)
    chosen: str | None = st.session_state.pop(taken, None)
    return chosen


# -- sample ----------------------------------------------------------------------------


def sample_card(form: JobForm) -> None:
    """Solvents, fill, keeper and end of the evaporation."""
    with st.container(border=True):
        st.subheader("What is in each vessel", anchor=False)
        left, right = st.columns(2)
        with left:
            chosen = preset("Usual solvents", list(presets.SOLVENTS), "job.preset.solvent",
                            "fills solvent, ranges and cap")
            if chosen:
                solvents, factors, cap = presets.solvent_tables(chosen)
                form.put("sample.solvents", solvents)
                form.put("sample.max_temperature_c", cap)
                for name, bounds in factors.items():
                    form.put(f"factors.{name}", bounds)
        with right:
            names = offered(("solvent",))
            added = preset("Add a solvent", list(names.values()), "job.add.solvent",
                           "name, synonym or CAS number")
            if added:
                _add_solvent(form, next(n for n, label in names.items() if label == added))
        _solvents(form)
        grid(form, fields.SAMPLE, 2)
        _keeper(form)
        _end(form)
        with st.expander("Residue and peroxide test"):
            grid(form, fields.SAMPLE_MORE, 2)


def _add_solvent(form: JobForm, name: str) -> None:
    rows = list(form.value("sample.solvents") or [])
    if any(r.get("name") == name for r in rows):
        return
    rows.append({"name": name, "volume_fraction": 1.0 if not rows else ""})
    form.put("sample.solvents", rows)


def _solvents(form: JobForm) -> None:
    rows = form.value("sample.solvents") or []
    single = len(rows) == 1
    if not single and rows:
        heads(("Solvent", "Volume fraction, 0 to 1", ""), WIDTHS)
    for i, row in enumerate(rows):
        name, share, remove = st.columns(WIDTHS, vertical_alignment="center")
        name.markdown(f"**{verbatim(row.get('name') or '…')}** "
                      f":gray[{cas_of(str(row.get('name')))}]")
        if not single or row.get("volume_fraction") != 1.0:
            form.field(Field(f"sample.solvents[{i}].volume_fraction", "Volume fraction"),
                       share.container(), f"Volume fraction of {row.get('name')}", is_headed=True)
        if remove.button("", key=f"job.remove.solvent.{i}", icon=":material/close:",
                         help=f"Remove {row.get('name')}"):
            left = [r for k, r in enumerate(rows) if k != i]
            if len(left) == 1:
                left[0]["volume_fraction"] = 1.0
            form.put("sample.solvents", left)
            form.save()
            frame.again()
        form.slots[f"sample.solvents[{i}].name"] = st.empty()
    form.slots["sample.solvents"] = st.empty()


def _keeper(form: JobForm) -> None:
    has = form.value("sample.keeper") is not None
    moved = form.toggle("sample.keeper", "With a keeper", has,
                        help_text="A little of a solvent that stays behind and holds volatile "
                                  "analytes.")
    if moved is not None:
        form.put("sample.keeper", {"name": "n-dodecane", "volume_ml": 0.5} if moved else None)
        if not moved:
            for name in ("keeper", "keeper_volume_ml"):
                drop_factor(form.draft, name)
    if form.value("sample.keeper") is None:
        return
    left, right = st.columns((3, 2))
    names = offered(("keeper",))
    chosen = form.select("sample.keeper.name", "Keeper", list(names),
                         form.value("sample.keeper.name"), left, names)
    if chosen:
        form.put("sample.keeper.name", chosen)
    form.slots["sample.keeper.name"] = left.empty()
    form.field(fields.KEEPER_VOLUME, right.container())


def _end(form: JobForm) -> None:
    volume = form.value("sample.end_volume_ml")
    leaves = bool(volume) or volume == ""
    name = "To an end volume instead of " + (
        "the keeper alone" if form.value("sample.keeper") is not None else "dryness"
    )
    moved = form.toggle("sample.end_volume_ml", name, leaves)
    if moved is not None:
        form.put("sample.end_volume_ml", 1 if moved else 0)
        form.put("sample.end_volume_control", None)
        leaves = moved
    if leaves:
        left, right = st.columns(2)
        form.field(fields.END_VOLUME, left.container())
        form.field(fields.END_CONTROL, right.container())


# -- evaporator --------------------------------------------------------------------------


def equipment_card(form: JobForm, earlier: Mapping[str, Mapping[str, Any]]) -> None:
    """The evaporator: a preset or one used before, then its figures."""
    with st.container(border=True):
        st.subheader("The evaporator", anchor=False)
        tables = {**{f"As in: {name}": t for name, t in earlier.items()}, **presets.EVAPORATORS}
        chosen = preset("Start from an evaporator", list(tables), "job.preset.equipment",
                        "one used before, or a usual kind")
        is_open = f"{form.name}/spin.open"  # kept: it must not fold away while it is filled in
        st.session_state.setdefault(is_open, not form.value("equipment.rotor_radius_mm"))
        if chosen:
            form.put("equipment", dict(tables[chosen]))
            st.session_state[is_open] = False
        grid(form, fields.VESSEL[:3])
        with st.expander("Spin, condenser, pump and end point",
                         expanded=st.session_state[is_open]):
            grid(form, fields.VESSEL[3:])
        with st.expander("What may stay assumed"):
            grid(form, fields.VESSEL_MORE)


# -- factors -----------------------------------------------------------------------------


def factors_card(form: JobForm) -> None:
    """Ranges of what the analyst may set."""
    with st.container(border=True, key="job.factors"):
        st.subheader("What may be varied", anchor=False)
        st.caption("The same figure twice fixes it; the step is what can be dialled."
                   + ("" if form.value("factors") else
                      " Not sure? The most similar of the usual solvents brings ranges to start "
                      "from; correct the solvents after it."))
        heads(("", "from", "to", "in steps of", ""), FACTOR_WIDTHS)
        extra = [n for n in STARTING_BOUNDS if form.value(f"factors.{n}") is not None]
        for name in (*MAIN_FACTORS, *extra):
            _factor(form, name)
        _keeper_choices(form)
        others = [n for n in EXTRA_FACTORS if form.value(f"factors.{n}") is None
                  and (n not in NEEDED or form.value(NEEDED[n]) not in (None, "", 0))]
        labels = {fields.FACTOR_LABELS[n]: n for n in others}
        added = preset("Vary something else too", list(labels), "job.add.factor", "choose")
        if added:
            _add_factor(form, labels[added])
            form.save()
            frame.again()


FACTOR_WIDTHS = (6, 4, 4, 4, 2)
STARTING_BOUNDS: dict[str, dict[str, Any]] = {
    "keeper_volume_ml": {"low": 0.2, "high": 2.0, "step": 0.1},
    "end_volume_ml": {"low": 0.5, "high": 2.0, "step": 0.5},
    "end_point_hold_min": {"low": 1, "high": 6, "step": 1},
}
NEEDED = {"keeper_volume_ml": "sample.keeper", "keeper": "sample.keeper",
          "end_volume_ml": "sample.end_volume_ml"}
"""What the job must have before a factor can be varied."""


def _add_factor(form: JobForm, name: str) -> None:
    if name == "keeper":
        form.put("factors.keeper", {"choices": [str(form.value("sample.keeper.name"))]})
    else:
        form.put(f"factors.{name}", dict(STARTING_BOUNDS[name]))


def _factor(form: JobForm, name: str) -> None:
    label, unit = fields.FACTOR_LABELS[name], form.units.unit(name)
    columns = st.columns(FACTOR_WIDTHS, vertical_alignment="center")
    columns[0].markdown(f"**{label}**, {unit}")
    for place, end, word in zip(columns[1:4], ("low", "high", "step"),
                                ("from", "to", "in steps of"), strict=True):
        _bound(form, name, end, f"{label} {word}", place)
    if name in STARTING_BOUNDS and columns[4].button(
        "", key=f"job.remove.factor.{name}", icon=":material/close:",
        help=f"Do not vary the {label.lower()}",
    ):
        drop_factor(form.draft, name)
        form.save()
        frame.again()
    form.slots[f"factors.{name}"] = st.empty()


def _bound(form: JobForm, name: str, end: str, label: str, place: Place) -> None:
    """One end of a range; a step is a difference, so a temperature step has no offset."""
    key = name if end != "step" else name.replace("set_temperature_c", "step_tolerance_c")
    form.field(_Bound(f"factors.{name}.{end}", label, optional=end == "step", unit_key=key),
               place.container(), label, is_headed=True)


class _Bound(Field):
    """A field whose unit is that of its factor."""

    def __init__(self, path: str, label: str, optional: bool, unit_key: str) -> None:
        super().__init__(path, label, optional=optional)
        object.__setattr__(self, "unit_key", unit_key)

    @property
    def key(self) -> str:
        return str(vars(self)["unit_key"])


def _keeper_choices(form: JobForm) -> None:
    choices = form.value("factors.keeper.choices")
    if choices is None:
        return
    given = list(dict.fromkeys(choices))
    others = [c for c in given if c not in offered(("keeper",))]  # from a job file
    with st.container(horizontal=True, vertical_alignment="bottom"):
        key = f"{form.name}/factors.keeper.choices"
        kept = st.multiselect("Keepers to choose among", [*offered(("keeper",)), *others],
                              default=given, format_func=lambda c: str(c) or "no name", key=key)
        if st.button("Do not vary", key="job.remove.factor.keeper", icon=":material/close:"):
            drop_factor(form.draft, "keeper")
            form.save()
            frame.again()
    if kept != given:
        form.put("factors.keeper.choices", kept)
    form.slots["factors.keeper.choices"] = st.empty()
    form.slots["factors.keeper"] = st.empty()


# -- today and limits ----------------------------------------------------------------------


def today_card(form: JobForm) -> None:
    """The method in use: the first trial, and what the new one is compared with."""
    with st.container(border=True):
        st.subheader("The method in use today", anchor=False)
        has = form.value("today") is not None
        moved = form.toggle("today", "There is one", has,
                            help_text="It becomes trial 1 and counts in the budget.")
        if moved is not None:
            form.put("today", {"setting": {}} if moved else None)
        if form.value("today") is None:
            return
        grid(form, fields.today_fields(form.value("factors") or {}))
        form.slots["today.setting"] = st.empty()


def limits_card(form: JobForm) -> None:
    """Time, trials and the assurance asked for."""
    with st.container(border=True):
        st.subheader("Limits", anchor=False)
        grid(form, (*fields.LIMITS, fields.SEED))
