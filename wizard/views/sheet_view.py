"""The bench sheet to take along."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import streamlit as st

from experiments.bench_sheet import BenchSheet, render_sheet

KINDS = (
    ("To print (PDF)", ".pdf", "application/pdf", ":material/print:"),
    ("To fill in (XLSX)", ".xlsx",
     "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ":material/table:"),
    ("To fill in (CSV)", ".csv", "text/csv", ":material/csv:"),
)


def bench_sheet(make: Callable[[], BenchSheet], name: str, key: str) -> None:
    """Offer a sheet in every kind; each is written when it is asked for."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown("**Bench sheet**", width="content")
        in_amounts = st.toggle("asks for amounts found", key=f"{key}.sheet.amounts",
                               persist_state="session",
                               help="Micrograms in samples, blank and references instead of "
                                    "recoveries, which are then worked out.")
        for label, ending, mime, icon in KINDS:
            write = partial(_written, make, ending, in_amounts)
            st.download_button(label, write, mime=mime, icon=icon,
                               file_name=name + ending, key=f"{key}.sheet{ending}",
                               on_click="ignore")
    st.caption("Runs in the order to make them, with settings, vessel positions, blanks, cautions "
               "and fields to fill in, also for what a reviewer asks later: measured temperature "
               "and pressure, spike lot, final volume, residue, initials.")


def _written(make: Callable[[], BenchSheet], ending: str, in_amounts: bool) -> bytes:
    return render_sheet(replace(make(), in_amounts=in_amounts), ending)
