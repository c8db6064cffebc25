"""What the screen says and shows, made from records; no Streamlit here."""
