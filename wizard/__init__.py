"""The Streamlit wizard: pages that load, draw and act; nothing is computed here."""
