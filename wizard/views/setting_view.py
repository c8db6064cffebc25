"""Number fields for a setting, one a free factor, with steps of what can be dialled."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from experiments.dossier import Dossier
from experiments.factor_space import dialled
from experiments.job import Factor, Setting
from wizard.session import WizardSession
from wizard.view_models.job_fields import FACTOR_LABELS
from wizard.view_models.setting_entry import stepper

MOST_BESIDE = 3
"""Fields beside each other; of more, labels and values are cut in a window of 800 px."""


def setting_inputs(
    session: WizardSession, dossier: Dossier, key: str, start: Setting
) -> Setting | None:
    """A setting as typed; kept as a draft once it was changed."""
    form = f"at:{key}:{dossier.id}"
    start = {**start, **(session.draft(form) or {})}
    setting: Setting = {f.name: f.first_value for f in dossier.job.factors}
    free = dossier.job.free_factors
    if not free:
        return setting
    stepped = [f for f in free if not f.choices]
    places = st.columns(min(len(stepped), MOST_BESIDE)) if stepped else []
    for i, factor in enumerate(stepped):
        with places[i % len(places)]:
            setting[factor.name] = _one(session, factor, f"{key}.{dossier.id}", start)
    for factor in free:
        if factor.choices:  # a name needs more room than a number
            setting[factor.name] = _one(session, factor, f"{key}.{dossier.id}", start)
    if st.session_state.get(f"seen:{form}", setting) != setting:
        session.keep_draft(form, setting)
    st.session_state[f"seen:{form}"] = dict(setting)
    return setting


def stepped_setting(session: WizardSession, dossier: Dossier, key: str) -> Setting | None:
    """A setting typed on another page earlier; None where nothing was typed there."""
    setting: Setting = {f.name: f.first_value for f in dossier.job.factors}
    for factor in dossier.job.free_factors:
        value = st.session_state.get(_field_key(session, factor, f"{key}.{dossier.id}"))
        if value is None:
            return None
        setting[factor.name] = (str(value) if factor.choices
                                else session.units.kept(factor.name, float(value)))
    return setting


def put_setting(
    session: WizardSession, dossier: Dossier, key: str, values: Mapping[str, float]
) -> None:
    """Write values in contract units into the fields, before they are drawn."""
    for factor in dossier.job.free_factors:
        if factor.name in values:
            field = _field_key(session, factor, f"{key}.{dossier.id}")
            st.session_state[field] = session.units.shown(
                factor.name, dialled(factor, values[factor.name]))


def _field_key(session: WizardSession, factor: Factor, key: str) -> str:
    if factor.choices:
        return f"{key}.{factor.name}"
    return f"{key}.{factor.name}.{session.units.unit(factor.name)}"


def _one(session: WizardSession, factor: Factor, key: str, start: Setting) -> float | str:
    label = FACTOR_LABELS[factor.name]
    first = start.get(factor.name, factor.low)
    if factor.choices:
        choice = str(first) if first in factor.choices else factor.first_value
        return str(st.selectbox(label, factor.choices, index=factor.choices.index(str(choice)),
                                key=_field_key(session, factor, key), persist_state="session"))
    units = session.units
    shape = stepper(factor, units)
    field = _field_key(session, factor, key)
    inside = min(max(units.shown(factor.name, float(first)), shape.low), shape.high)
    value = st.number_input(
        f"{label}, {units.unit(factor.name)}", min_value=shape.low, max_value=shape.high,
        step=shape.step, format=f"%.{shape.digits}f", key=field, persist_state="session",
        value="min" if field in st.session_state else inside,
    )
    return units.kept(factor.name, float(value))
