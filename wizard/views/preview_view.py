"""What a table of results would record, shown before anything is recorded."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from wizard.verbatim import verbatim
from wizard.view_models.results_preview import Preview


def show_preview(shown: Preview) -> None:
    """The runs as understood, what is rejected, and what should be looked at once more."""
    st.markdown(f"**Before anything is recorded:** {verbatim(shown.summary)}")
    if shown.understood:
        st.dataframe(pd.DataFrame(shown.understood).fillna("–"), hide_index=True, width="stretch")
    for line in shown.rejected:
        st.markdown(f":red[:material/error: {verbatim(line)}]")
    for line in shown.notes:
        st.markdown(f":material/info: {verbatim(line)}")
