"""Tables of a store, and bringing an older store up to date (Alembic)."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from experiments.storage.protocol import StoreError

METADATA: Final = sa.MetaData()
DOSSIER: Final = sa.Table(
    "dossier", METADATA,
    sa.Column("id", sa.String(64), primary_key=True),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("state", sa.String(32), nullable=False),
    sa.Column("trials", sa.Integer, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("updated", sa.String(40), nullable=False),
    sa.Column("facts", sa.Text, nullable=False),
)
AUDIT_EVENT: Final = sa.Table(
    "audit_event", METADATA,
    sa.Column("dossier_id", sa.String(64), sa.ForeignKey("dossier.id"), primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("kind", sa.String(64), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
    sa.Column("previous_hash", sa.String(64), nullable=False),
    sa.Column("hash", sa.String(64), nullable=False),
)
STORE_LOG: Final = sa.Table(
    "store_log", METADATA,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("what", sa.String(64), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
)
DRAFT: Final = sa.Table(
    "draft", METADATA,
    sa.Column("owner", sa.String(200), primary_key=True),
    sa.Column("name", sa.String(200), primary_key=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
)
NEWEST: Final = "0003"
"""Revision of the schema above; a test compares it with the migrations."""

_NEWER = "Use the newer Boilwright that wrote it, or another store."
_FOREIGN = "Choose another file or database with --store."
_UPGRADE_LOCK: Final = 7281934


def bring_up_to_date(connection: Connection) -> None:
    """Build the tables in an empty database, or migrate those of an older release.

    Takes the write lock first, so that two programs opening a new store do not build twice;
    a death half-way leaves the store as it was.

    Raises
    ------
    StoreError
        for a database of another program, or of a newer release
    """
    if _revision(connection) == NEWEST:
        return
    if connection.dialect.name == "sqlite":
        connection.rollback()
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    else:
        connection.execute(sa.text(f"SELECT pg_advisory_xact_lock({_UPGRADE_LOCK})"))
    found = _revision(connection)
    if found is None and sa.inspect(connection).get_table_names():
        raise StoreError("This is a database of another program, not a store.", _FOREIGN)
    if found is None or found < NEWEST:
        _migrate(connection)
    elif found > NEWEST:
        raise StoreError(f"This store has schema {found}, newer than {NEWEST}.", _NEWER)
    connection.commit()


def _revision(connection: Connection) -> str | None:
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return str(connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar())


def _migrate(connection: Connection) -> None:
    from alembic import command  # a third of a second, needed once a store
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
