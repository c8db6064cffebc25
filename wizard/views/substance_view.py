"""What is known of a substance, and how a mixture boils."""

from __future__ import annotations

import streamlit as st

from models.mixture import describe_mixture
from models.properties import describe_substance
from models.quantities import kelvin, pascal
from wizard.charts.palette import palette
from wizard.charts.vapour_pressure import vapour_pressure_chart
from wizard.session import WizardSession
from wizard.units import NotANumber, read_number
from wizard.verbatim import literal, verbatim
from wizard.view_models import substance_rows
from wizard.view_models.substance_choice import offered
from wizard.views import drawing


def render(session: WizardSession) -> None:
    """Draw the search, the values and the curve."""
    units = session.units
    names = offered(("solvent", "keeper", "analyte"))
    left, right = st.columns((3, 1))
    name = left.selectbox("Substance", list(names), key="substance.name", accept_new_options=True,
                          format_func=lambda n: names.get(n, n), persist_state="session",
                          help="Name, synonym or CAS number; others may be typed in.")
    unit = units.temperature
    text = right.text_input(f"Temperature, {unit}", units.sign(f"{units.shown('_c', 25.0):g}"),
                            key=f"substance.temperature.{unit}", persist_state="session")
    try:
        celsius = units.kept("_c", read_number(text))
    except NotANumber as error:
        st.markdown(f":red[:material/error: {verbatim(error)}]")
        return
    if name:
        _one(session, str(name), celsius)
    _mixture(session)


def _one(session: WizardSession, name: str, celsius: float) -> None:
    units = session.units
    found = describe_substance(name, kelvin(celsius))
    st.subheader(f"{found['name']} · {found['cas']}", anchor=False)
    rows = substance_rows.curve_rows(found, units)
    mark = (units.shown("_c", celsius),
            units.shown("_mbar", float(str(found["vapour_pressure_pa"])) / 100.0))
    drawing.show(vapour_pressure_chart, rows, (units.temperature, units.pressure), mark,
                 palette(session.theme), substance_rows.point_rows(found, units))
    st.caption("Of the liquid, sub-cooled below melting. The filled dot is the temperature above, "
               "the rings are the data behind the curve; each names its source.")
    for line in substance_rows.substance_lines(found, celsius, units):
        st.markdown(line)
    notes = substance_rows.source_notes(found, units)
    if notes:
        with st.expander("What was found in the sources"):
            st.markdown("\n".join(f"- {line}" for line in notes))


def _mixture(session: WizardSession) -> None:
    units = session.units
    with st.expander("How a mixture of solvents boils"):
        names = offered(("solvent", "keeper"))
        chosen = st.multiselect("Components", list(names), key="mixture.names", max_selections=4,
                                format_func=lambda n: names.get(n, n), persist_state="session")
        if len(chosen) < 2:
            st.caption("Choose two to four components.")
            return
        parts = {}
        for place, name in zip(st.columns(len(chosen)), chosen, strict=True):
            parts[name] = place.number_input(
                f"{name}, mole parts", 0.0, 100.0, 1.0, 0.1, key=f"mixture.{name}",
                persist_state="session")
        total = sum(parts.values())
        pressure = st.number_input(
            f"Pressure, {units.pressure}", units.shown("_mbar", 1.0),
            units.shown("_mbar", 2000.0), units.shown("_mbar", 1013.25),
            key=f"mixture.pressure.{units.pressure}", persist_state="session")
        if total <= 0:
            st.markdown(":red[:material/error: Give at least one part above zero.]")
            return
        shares = {n: v / total for n, v in parts.items()}
        found = describe_mixture(shares, pascal(units.kept("_mbar", pressure)))
        for line in substance_rows.mixture_lines(found, units):
            st.markdown(line)
        st.table(literal(substance_rows.mixture_rows(shares, found)).set_index("component"),
                 border="horizontal")
