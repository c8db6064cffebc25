"""What only a database can do: be damaged, foreign, old, new, locked or far away."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from experiments.events import link
from experiments.storage import schema
from experiments.storage.database import DatabaseStore
from experiments.storage.protocol import Draft, StoreError, Summary, append

AT = "2026-03-02T08:00:00.000+00:00"
MIGRATIONS = Path(schema.__file__).parent / "migrations"


RELEASED = sorted(p.stem[:4] for p in Path(schema.__file__).parent.glob(
    "migrations/versions/[0-9]*.py"))[:-1]
"""Revisions that a store may still have."""


def url(path: Path) -> str:
    return f"sqlite:///{path}"


def configuration() -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    return config


def fill(path: Path) -> None:
    store = DatabaseStore(url(path))
    events = [link(None, AT, "Ada", "note", {"text": "kept"})]
    append(store, "d1", events, 0, Summary("d1", "A job", "draft", 0, 1, AT, {}))
    store.close()


def test_the_newest_revision_is_the_one_the_code_expects():
    assert ScriptDirectory.from_config(configuration()).get_current_head() == schema.NEWEST


def test_the_tables_are_those_of_the_migrations(tmp_path):
    DatabaseStore(url(tmp_path / "s.sqlite")).close()
    engine = sa.create_engine(url(tmp_path / "s.sqlite"))
    found = sa.MetaData()
    found.reflect(engine)
    engine.dispose()
    for name, table in schema.METADATA.tables.items():
        built = found.tables[name]
        assert {c.name: (str(c.type), c.nullable) for c in built.columns} == {
            c.name: (str(c.type), c.nullable) for c in table.columns
        }
        assert [c.name for c in built.primary_key] == [c.name for c in table.primary_key]


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
@pytest.mark.parametrize("released", RELEASED)
def test_a_store_of_every_released_schema_opens_with_all_it_holds(
    tmp_path, request, released, kind
):
    where = url(tmp_path / "old.sqlite") if kind == "sqlite" else request.getfixturevalue(
        "postgresql_url").replace("postgresql://", "postgresql+psycopg://")
    engine = sa.create_engine(where)
    event = link(None, AT, "Ada", "note", {"text": "from before"})
    with engine.connect() as connection:
        config = configuration()
        config.attributes["connection"] = connection
        command.upgrade(config, released)
        connection.commit()
        connection.execute(sa.text(
            "INSERT INTO dossier VALUES ('d1', 'Old', 'draft', 0, 1, :at, '{}')"), {"at": AT})
        connection.execute(
            sa.text("INSERT INTO audit_event VALUES ('d1', 1, :at, 'Ada', 'note', :p, :b, :h)"),
            {"at": AT, "p": '{"text":"from before"}', "b": event.previous_hash, "h": event.hash})
        if released >= "0002":
            connection.execute(
                sa.text("INSERT INTO draft VALUES ('Ada', 'job:old', :at, :p)"),
                {"at": AT, "p": '{"title": "as far as I got"}'})
        connection.commit()
    engine.dispose()
    store = DatabaseStore(where)
    assert store.events("d1") == [event]
    assert store.summaries()[0].title == "Old"
    before = [Draft("Ada", "job:old", AT, {"title": "as far as I got"})]
    assert store.drafts("Ada") == (before if released >= "0002" else [])
    store.save_draft(Draft("Ada", "results:" + "d" * 190, AT, {"title": "a long name"}))
    assert {d.name for d in store.drafts("Ada")} >= {"results:" + "d" * 190}
    newer = link(event, AT, "Ada", "note", {"text": "after"})
    append(store, "d1", [newer], 1, Summary("d1", "Old", "draft", 0, 2, AT, {}))
    store.close()
    again = DatabaseStore(where)
    assert again.events("d1") == [event, newer]
    again.close()


def test_a_store_of_a_newer_release_is_left_alone(tmp_path):
    path = tmp_path / "s.sqlite"
    fill(path)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    with pytest.raises(StoreError, match="newer") as caught:
        DatabaseStore(url(path))
    assert "newer Boilwright" in caught.value.cure


def test_a_database_of_another_program_is_left_alone(tmp_path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    with pytest.raises(StoreError, match="another program"):
        DatabaseStore(url(path))
    with sqlite3.connect(path) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master").fetchall()
    connection.close()
    assert tables == [("recipes",)]


def test_a_file_that_is_no_database_is_said_to_be_damaged(tmp_path):
    path = tmp_path / "s.sqlite"
    path.write_bytes(b"these are not the bytes of a database" * 400)
    with pytest.raises(StoreError, match="damaged") as caught:
        DatabaseStore(url(path))
    assert "backup" in caught.value.cure


def test_a_store_cut_short_says_so_and_never_a_traceback(tmp_path):
    path = tmp_path / "s.sqlite"
    fill(path)
    whole = path.read_bytes()
    for size in (len(whole) // 3, len(whole) // 2, len(whole) - 4096):
        cut = tmp_path / f"cut{size}.sqlite"
        cut.write_bytes(whole[:size])
        with pytest.raises(StoreError, match="damaged"):
            DatabaseStore(url(cut)).events("d1")


def test_a_table_that_went_missing_is_said_to_be_damage(tmp_path):
    path = tmp_path / "s.sqlite"
    fill(path)
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TABLE audit_event")
    connection.close()
    with pytest.raises(StoreError, match="damaged"):
        DatabaseStore(url(path)).events("d1")


@pytest.mark.parametrize(("given", "said"), [
    ("sqlite:////nowhere/at/all/s.sqlite", "no folder"),
    ("sqlite://", "needs a file"),
    ("mysql://root@localhost/x", "mysql"),
    ("what://is/this", "what"),
    ("", "not a store"),
    ("sqlite:///a\x00b", "not"),
    ("postgresql://localhost:notaport/x", "not a store"),
])
def test_a_wrong_address_is_one_sentence_with_a_cure(given, said):
    with pytest.raises(StoreError, match=said) as caught:
        DatabaseStore(given)
    assert caught.value.cure


def test_a_file_that_cannot_be_opened_is_one_sentence_with_a_cure(tmp_path):
    """A folder stands for a store in a folder that may not be written: SQLite says the same."""
    with pytest.raises(StoreError, match="cannot be opened") as caught:
        DatabaseStore(url(tmp_path))
    assert "folder that you may write" in caught.value.cure


def test_an_unreachable_server_is_one_sentence_without_its_password(tmp_path):
    with pytest.raises(StoreError, match="could not be used") as caught:
        DatabaseStore(f"postgresql://lab:s3cret@/none?host={tmp_path}")
    assert "s3cret" not in str(caught.value)


def test_sqlite_is_set_up_to_lose_nothing(tmp_path):
    store = DatabaseStore(url(tmp_path / "s.sqlite"))
    with store._engine.connect() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    assert found == {
        "journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 30000,
    }


def test_opening_a_store_that_is_up_to_date_loads_no_migrations(tmp_path):
    fill(tmp_path / "s.sqlite")
    code = (
        "import sys; from experiments.storage.database import DatabaseStore\n"
        f"assert DatabaseStore({url(tmp_path / 's.sqlite')!r}).events('d1')\n"
        "assert 'alembic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_payload_that_is_no_json_breaks_the_chain_not_the_program(tmp_path):
    from experiments.events import verify_chain

    path = tmp_path / "s.sqlite"
    fill(path)
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE audit_event SET payload = 'scribble'")
    connection.close()
    assert verify_chain(DatabaseStore(url(path)).events("d1")).first_broken == 1
