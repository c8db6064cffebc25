"""A store in a database: one SQLite file, or PostgreSQL by URL.

Events are only ever inserted. SQLite runs with a write-ahead log, full synchronisation, one
writer at a time (BEGIN IMMEDIATE) and a busy timeout, so that a confirmed save survives the
death of the process. The schema is built and upgraded by Alembic when a store is opened.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event as sa_event
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import DatabaseError, IntegrityError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from experiments.events import Event, canonical
from experiments.storage.protocol import StaleRevision, StoreError, Summary, UnknownDossier

METADATA = sa.MetaData()
DOSSIER = sa.Table(
    "dossier", METADATA,
    sa.Column("id", sa.String(64), primary_key=True),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("state", sa.String(32), nullable=False),
    sa.Column("trials", sa.Integer, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("updated", sa.String(40), nullable=False),
    sa.Column("facts", sa.Text, nullable=False),
)
AUDIT_EVENT = sa.Table(
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
STORE_LOG = sa.Table(
    "store_log", METADATA,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("what", sa.String(64), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),
)
BUSY_TIMEOUT_S = 30


class DatabaseStore:
    """Dossiers in a database at a SQLAlchemy URL."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._engine = _engine(url)
        self._is_sqlite = self._engine.dialect.name == "sqlite"
        with _said(url):
            _upgrade(self._engine)

    def append(
        self, dossier_id: str, events: Sequence[Event], expected_revision: int, summary: Summary
    ) -> int:
        row = {
            "title": summary.title, "state": summary.state, "trials": summary.trials,
            "revision": summary.revision, "updated": summary.updated,
            "facts": canonical(summary.facts),
        }
        with _said(self.url), self._writing() as connection:
            held = self._revision(connection, dossier_id)
            if held != expected_revision:
                newer = self._read(connection, dossier_id, min(expected_revision, held - 1))
                raise StaleRevision(newer)
            try:
                if held == 0:
                    connection.execute(sa.insert(DOSSIER).values(id=dossier_id, **row))
                else:
                    connection.execute(
                        sa.update(DOSSIER).where(DOSSIER.c.id == dossier_id).values(**row)
                    )
                connection.execute(sa.insert(AUDIT_EVENT), [_row(dossier_id, e) for e in events])
            except IntegrityError as error:
                connection.rollback()
                newer = self._read(connection, dossier_id, expected_revision)
                raise StaleRevision(newer or list(events)) from error
        return events[-1].seq if events else expected_revision

    def events(self, dossier_id: str) -> list[Event]:
        with _said(self.url), self._engine.connect() as connection:
            found = self._read(connection, dossier_id, 0)
        if not found:
            raise UnknownDossier(dossier_id)
        return found

    def summaries(self) -> list[Summary]:
        query = sa.select(DOSSIER).order_by(DOSSIER.c.updated.desc(), DOSSIER.c.id.desc())
        with _said(self.url), self._engine.connect() as connection:
            rows = connection.execute(query).mappings().all()
        return [Summary(**{**row, "facts": json.loads(row["facts"])}) for row in rows]

    def note(self, at: str, who: str, what: str, payload: dict[str, Any]) -> None:
        with _said(self.url), self._writing() as connection:
            connection.execute(sa.insert(STORE_LOG).values(
                at=at, who=who, what=what, payload=canonical(payload)
            ))

    def notes(self) -> list[dict[str, Any]]:
        with _said(self.url), self._engine.connect() as connection:
            rows = connection.execute(sa.select(STORE_LOG).order_by(STORE_LOG.c.id)).mappings()
            return [
                {"at": r["at"], "who": r["who"], "what": r["what"],
                 "payload": json.loads(r["payload"])}
                for r in rows
            ]

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """One transaction that holds the write lock from its start."""
        with self._engine.connect() as connection:
            if self._is_sqlite:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            yield connection
            connection.commit()

    def _revision(self, connection: Connection, dossier_id: str) -> int:
        query = sa.select(DOSSIER.c.revision).where(DOSSIER.c.id == dossier_id)
        if not self._is_sqlite:
            query = query.with_for_update()
        return int(connection.execute(query).scalar() or 0)

    def _read(self, connection: Connection, dossier_id: str, after: int) -> list[Event]:
        query = (
            sa.select(AUDIT_EVENT)
            .where(AUDIT_EVENT.c.dossier_id == dossier_id, AUDIT_EVENT.c.seq > after)
            .order_by(AUDIT_EVENT.c.seq)
        )
        return [
            Event(r["seq"], r["at"], r["who"], r["kind"], json.loads(r["payload"]),
                  r["previous_hash"], r["hash"])
            for r in connection.execute(query).mappings()
        ]


def _row(dossier_id: str, event: Event) -> dict[str, Any]:
    return {
        "dossier_id": dossier_id, "seq": event.seq, "at": event.at, "who": event.who,
        "kind": event.kind, "payload": canonical(event.payload),
        "previous_hash": event.previous_hash, "hash": event.hash,
    }


def _engine(url: str) -> Engine:
    try:
        parsed = sa.make_url(url)
        if parsed.get_backend_name() == "postgresql" and parsed.drivername == "postgresql":
            parsed = parsed.set(drivername="postgresql+psycopg")
        if parsed.get_backend_name() != "sqlite":
            return sa.create_engine(parsed, pool_pre_ping=True)
        if parsed.database and parsed.database != ":memory:":
            Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
        engine = sa.create_engine(
            parsed, poolclass=NullPool, connect_args={"timeout": BUSY_TIMEOUT_S}
        )
    except (SQLAlchemyError, ImportError, OSError) as error:
        raise StoreError(
            f"The store {url!r} cannot be opened ({type(error).__name__}).",
            "Give a path, or a URL such as sqlite:///file.sqlite or postgresql://host/name.",
        ) from error

    @sa_event.listens_for(engine, "connect")
    def _configure(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # transactions are begun by hand
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON",
                       f"busy_timeout={1000 * BUSY_TIMEOUT_S}"):
            connection.execute(f"PRAGMA {pragma}")

    return engine


def _upgrade(engine: Engine) -> None:
    """Bring the schema to the newest version (Alembic)."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        else:
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(7281934)"))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        connection.commit()


@contextmanager
def _said(url: str) -> Iterator[None]:
    """Turn database faults into one sentence with a cure."""
    try:
        yield
    except DatabaseError as error:
        text = str(error.orig)
        shown = sa.make_url(url).render_as_string(hide_password=True)
        if "not a database" in text or "malformed" in text:
            raise StoreError(
                f"The store {shown} is damaged or not a Boilwright store.",
                "Restore it from a backup, or choose another file with --store.",
            ) from error
        if "locked" in text:
            raise StoreError(f"The store {shown} is busy.", "Try again in a moment.") from error
        raise StoreError(
            f"The store {shown} could not be used ({text.splitlines()[0][:160]}).",
            "Check that the file or server is there and may be written.",
        ) from error
