import sqlite3
from collections import namedtuple

import pytest

from experiments import doctor, example_dossiers
from experiments.bootstrap import open_store
from experiments.users import User

NAMES = ["packages", "properties", "run model", "report pages", "figures", "room", "store"]
Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def url(tmp_path):
    """A store with one dossier in it."""
    address = f"sqlite:///{tmp_path / 'store.sqlite'}"
    store = open_store(address)
    example_dossiers.load(store, "new_analyte_with_keeper", User("analyst"))
    store.close()
    return address


def ill(checks):
    return {check.name: check for check in checks if not check.is_well}


@pytest.mark.slow
def test_everything_is_well_where_everything_is_there(url):
    checks = doctor.examine(url)
    assert [check.name for check in checks] == NAMES
    assert ill(checks) == {}
    assert "1 dossier," in checks[-1].detail


def test_a_store_that_was_tampered_with_is_ill(url):
    with sqlite3.connect(url.removeprefix("sqlite:///")) as connection:
        connection.execute("DROP TRIGGER IF EXISTS audit_event_no_update")
        names = [r[0] for r in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for name in names:
            connection.execute(f'DROP TRIGGER "{name}"')
        connection.execute("UPDATE audit_event SET who = 'nobody' WHERE seq = 2")
    found = doctor.check_store(url)
    assert not found.is_well
    assert "broken" in found.detail
    assert "backup" in found.cure


def test_a_file_that_is_no_store_is_ill_and_not_an_exception(tmp_path):
    path = tmp_path / "letter.sqlite"
    path.write_text("Dear laboratory, " * 100)
    found = ill([doctor._carry_out("store", lambda: doctor.check_store(f"sqlite:///{path}"))])
    assert found["store"].cure


def test_a_full_disk_is_ill(monkeypatch, tmp_path):
    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _: Usage(10**9, 10**9, 10**6))
    found = doctor.check_room(f"sqlite:///{tmp_path / 'new' / 'store.sqlite'}")
    assert not found.is_well
    assert "move the store" in found.cure


def test_a_missing_package_is_named(monkeypatch):
    def version(name):
        if name == "typst":
            raise doctor.metadata.PackageNotFoundError(name)
        return "99.0"

    monkeypatch.setattr(doctor.metadata, "version", version)
    found = doctor.check_packages()
    assert not found.is_well
    assert "typst is missing" in found.detail


def test_wrong_properties_are_ill(monkeypatch):
    import models.properties

    monkeypatch.setattr(
        models.properties, "describe_substance", lambda *_: {"vapour_pressure_pa": 90000.0}
    )
    assert not doctor.check_properties().is_well
