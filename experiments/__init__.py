"""Jobs, trials, learning in sequence, dossiers, storage and report. No screen code."""
