"""The bench sheet to take along."""

from __future__ import annotations

import streamlit as st

from experiments import bench_sheet as sheets
from experiments.dossier import Dossier
from wizard.session import WizardSession


def bench_sheet(session: WizardSession, dossier: Dossier) -> None:  # noqa: ARG001
    """Offer the sheet of the pending trials as XLSX and CSV."""
    ids = [t.id for t in dossier.pending]
    if not ids:
        return
    st.download_button("Bench sheet, XLSX", sheets.sheet_xlsx(dossier, ids),
                       f"bench-sheet-{dossier.id}.xlsx", key="trials.sheet_xlsx",
                       on_click="ignore")
    st.download_button("Bench sheet, CSV", sheets.sheet_csv(dossier, ids),
                       f"bench-sheet-{dossier.id}.csv", key="trials.sheet_csv",
                       on_click="ignore")
