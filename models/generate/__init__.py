"""Generators of the packaged tables; run ``python -m models.generate`` from the repository."""
