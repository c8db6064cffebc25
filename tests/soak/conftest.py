"""Every test of this folder is done on a SQLite file and on a PostgreSQL server."""

from __future__ import annotations

import pytest


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path) -> str:
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'store.sqlite'}"
    return request.getfixturevalue("postgresql_url")
