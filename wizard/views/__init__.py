"""Drawing: Streamlit calls only; every view returns what the reader asked for, or None."""
