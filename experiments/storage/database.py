"""A store in a database: one SQLite file, or PostgreSQL by URL.

Events are only ever inserted. SQLite runs with a write-ahead log, full synchronisation, one
writer at a time (BEGIN IMMEDIATE), a busy timeout and a connection an operation, so that a
confirmed save survives the death of the process and threads never share a connection.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event as sa_event
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from experiments.events import Event, canonical
from experiments.storage.protocol import (
    Build,
    Draft,
    StaleRevision,
    StoreError,
    Summary,
    UnknownDossier,
    check_order,
)
from experiments.storage.schema import AUDIT_EVENT, DOSSIER, DRAFT, STORE_LOG, bring_up_to_date

BUSY_TIMEOUT_S = 30
_ADVICE = "Give a path, or a URL such as sqlite:///file.sqlite or postgresql://host/name."


class DatabaseStore:
    """Dossiers in a database at a SQLAlchemy URL."""

    def __init__(self, url: str) -> None:
        self._engine = _engine(url)
        self._is_sqlite = self._engine.dialect.name == "sqlite"
        self.shown = self._engine.url.render_as_string(hide_password=True)
        try:
            with self._connected() as connection:
                bring_up_to_date(connection)
        except UnicodeError as error:  # a name that no server can have
            raise StoreError(f"{self.shown[:80]!r} is not a store.", _ADVICE) from error

    def extend(self, dossier_id: str, after: int, build: Build) -> int:
        with self._writing() as connection:
            held = self._revision(connection, dossier_id)
            if held == 0 and after > 0:
                raise UnknownDossier(dossier_id)
            if held < after:
                raise StaleRevision(())
            events, summary = build(_read(connection, dossier_id, after) if held > after else ())
            if not events:
                return held
            check_order(events, held)
            row = {
                "title": summary.title, "state": summary.state, "trials": summary.trials,
                "revision": events[-1].seq, "updated": summary.updated,
                "facts": canonical(summary.facts),
            }
            try:
                if held == 0:
                    connection.execute(sa.insert(DOSSIER).values(id=dossier_id, **row))
                else:
                    change = sa.update(DOSSIER).where(DOSSIER.c.id == dossier_id)
                    connection.execute(change.values(**row))
                connection.execute(sa.insert(AUDIT_EVENT), [_row(dossier_id, e) for e in events])
            except IntegrityError as error:
                connection.rollback()
                raise StaleRevision(_read(connection, dossier_id, after)) from error
        return events[-1].seq

    def events(self, dossier_id: str) -> list[Event]:
        with self._connected() as connection:
            found = _read(connection, dossier_id, 0)
        if not found:
            raise UnknownDossier(dossier_id)
        return found

    def summaries(self) -> list[Summary]:
        query = sa.select(DOSSIER).order_by(DOSSIER.c.updated.desc(), DOSSIER.c.id.desc())
        with self._connected() as connection:
            rows = connection.execute(query).mappings().all()
        return [Summary(**{**row, "facts": json.loads(row["facts"])}) for row in rows]

    def note(self, at: str, who: str, what: str, payload: Mapping[str, Any]) -> None:
        row = {"at": at, "who": who, "what": what, "payload": canonical(payload)}
        with self._writing() as connection:
            connection.execute(sa.insert(STORE_LOG).values(**row))

    def notes(self) -> list[dict[str, Any]]:
        columns = STORE_LOG.c.at, STORE_LOG.c.who, STORE_LOG.c.what, STORE_LOG.c.payload
        with self._connected() as connection:
            rows = connection.execute(sa.select(*columns).order_by(STORE_LOG.c.id)).mappings()
            return [{**row, "payload": json.loads(row["payload"])} for row in rows]

    def save_draft(self, draft: Draft) -> None:
        place = (DRAFT.c.owner == draft.owner, DRAFT.c.name == draft.name)
        row = {"owner": draft.owner, "name": draft.name, "at": draft.at,
               "payload": canonical(draft.content)}
        with self._writing() as connection:
            changed = connection.execute(sa.delete(DRAFT).where(*place)).rowcount
            try:
                if draft.content:
                    connection.execute(sa.insert(DRAFT).values(**row))
            except IntegrityError:
                if changed:
                    raise
                connection.rollback()  # another window saved the same new form just before
                connection.execute(sa.update(DRAFT).where(*place).values(**row))

    def drafts(self, owner: str) -> list[Draft]:
        query = sa.select(DRAFT).where(DRAFT.c.owner == owner)
        query = query.order_by(DRAFT.c.at.desc(), DRAFT.c.name.desc())
        with self._connected() as connection:
            rows = connection.execute(query).mappings().all()
        return [Draft(r["owner"], r["name"], r["at"], json.loads(r["payload"])) for r in rows]

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def _connected(self) -> Iterator[Connection]:
        with _said(self.shown), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """One transaction; on SQLite it holds the write lock from its start."""
        with self._connected() as connection:
            if self._is_sqlite:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            yield connection
            connection.commit()

    def _revision(self, connection: Connection, dossier_id: str) -> int:
        query = sa.select(DOSSIER.c.revision).where(DOSSIER.c.id == dossier_id)
        if not self._is_sqlite:
            query = query.with_for_update()
        return int(connection.execute(query).scalar() or 0)


def _read(connection: Connection, dossier_id: str, after: int) -> list[Event]:
    query = (
        sa.select(AUDIT_EVENT)
        .where(AUDIT_EVENT.c.dossier_id == dossier_id, AUDIT_EVENT.c.seq > after)
        .order_by(AUDIT_EVENT.c.seq)
    )
    return [
        Event(r["seq"], r["at"], r["who"], r["kind"], _payload(r["payload"]),
              r["previous_hash"], r["hash"])
        for r in connection.execute(query).mappings()
    ]


def _payload(text: str) -> Mapping[str, Any]:
    """The payload; damaged text is handed on as such, so that its hash does not hold."""
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    return found if isinstance(found, dict) else {"unreadable": str(text)}


def _row(dossier_id: str, event: Event) -> dict[str, Any]:
    return {
        "dossier_id": dossier_id, "seq": event.seq, "at": event.at, "who": event.who,
        "kind": event.kind, "payload": canonical(event.payload),
        "previous_hash": event.previous_hash, "hash": event.hash,
    }


def _engine(url: str) -> Engine:
    try:
        if "\x00" in url:
            raise ValueError("a NUL character")
        parsed = sa.make_url(url)
        backend = parsed.get_backend_name()
        if backend in ("postgresql", "postgres"):
            parsed = parsed.set(drivername="postgresql+psycopg")
            return sa.create_engine(parsed, pool_pre_ping=True)
        if backend != "sqlite":
            raise StoreError(f"A {backend} database cannot hold a store.", _ADVICE)
        if not parsed.database or parsed.database == ":memory:":
            raise StoreError("A SQLite store needs a file.", "Write sqlite:///file.sqlite.")
        if parsed.query:
            raise StoreError("The name of a SQLite store holds a question mark.",
                             "Name a file without one.")
        if not Path(parsed.database).parent.is_dir():
            folder = str(Path(parsed.database).parent)
            raise StoreError(f"There is no folder {folder!r} for the store.", "Make it first.")
        engine = sa.create_engine(
            parsed, poolclass=NullPool, connect_args={"timeout": BUSY_TIMEOUT_S}
        )
    except ModuleNotFoundError as error:
        raise StoreError("The driver for PostgreSQL is not installed.",
                         "Install boilwright[postgresql].") from error
    except (SQLAlchemyError, OSError, ValueError) as error:
        raise StoreError(f"{url.split('@')[-1][:80]!r} is not a store.", _ADVICE) from error
    sa_event.listen(engine, "connect", _configure)
    return engine


def _configure(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = None  # transactions are begun by hand
    for pragma in (f"busy_timeout={1000 * BUSY_TIMEOUT_S}", "journal_mode=WAL",
                   "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}")


@contextmanager
def _said(shown: str) -> Iterator[None]:
    """Turn database faults into one sentence with a cure."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        text = str(error.orig if isinstance(error, DBAPIError) else error)
        if "not a database" in text or "malformed" in text or "no such" in text:
            raise StoreError(
                f"The store {shown} is damaged or not a Boilwright store.",
                "Restore it from a backup, or choose another file with --store.",
            ) from error
        if "unable to open" in text:
            raise StoreError(
                f"The store {shown} cannot be opened.",
                "Check that it is a file in a folder that you may write, which SQLite needs for "
                "reading too; copy it to one of your own otherwise.",
            ) from error
        if "locked" in text:
            raise StoreError(f"The store {shown} is busy.", "Try again in a moment.") from error
        if "readonly" in text:
            raise StoreError(f"The store {shown} may not be written.",
                             "Give yourself the right to write it and its folder.") from error
        first = (text.splitlines() or ["no reason given"])[0]
        raise StoreError(f"The store {shown} could not be used ({first[:160]}).",
                         "Check that the file or server is there and may be written.") from error
