"""Where dossiers are kept: events appended, never changed."""
