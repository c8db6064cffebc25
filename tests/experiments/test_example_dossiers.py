import csv

import pytest

from experiments import example_dossiers, service
from experiments.entries import EntryError
from experiments.storage.memory import MemoryStore
from experiments.users import NotAllowed, User

KEYS = [example.key for example in example_dossiers.names()]
ANALYST = User("analyst")


@pytest.fixture
def session():
    return service.Session(MemoryStore(), ANALYST)


@pytest.mark.parametrize("key", KEYS)
def test_an_example_opens_with_all_its_trials_recorded(session, key):
    example = next(e for e in example_dossiers.names() if e.key == key)
    dossier = service.load(session, example_dossiers.load(session.store, key, ANALYST))
    with example.table.open(encoding="utf-8", newline="") as file:
        settings = {
            tuple(row[name] for name in ("run_order", "set_temperature_c", "end_pressure_mbar"))
            for row in csv.DictReader(file)
        }
    assert dossier.job.title == example.title
    assert len(dossier.recorded) == len(settings) >= 8
    assert not dossier.pending


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.slow
def test_an_example_ends_in_a_recommendation_that_keeps_its_targets(session, key):
    dossier_id = example_dossiers.load(session.store, key, ANALYST)
    dossier, answer = service.recommend(session, dossier_id)
    assert answer.status == "recommended"
    assert answer.probability >= dossier.job.limits.assurance
    for analyte in dossier.job.must:
        assert answer.recovery_percent[analyte.name].mean > analyte.target_recovery_percent


@pytest.mark.slow
def test_the_recommended_setting_is_quicker_than_todays(session):
    """Today's method of the example takes about 50 min at the invented bench."""
    dossier_id = example_dossiers.load(session.store, "semivolatiles_to_dryness", ANALYST)
    dossier, answer = service.recommend(session, dossier_id)
    today = dossier.trial("T1")
    assert today.origin == "today"
    assert answer.run_time_min.high < today.result.run_time_min


def test_an_unknown_example_names_those_there_are(session):
    with pytest.raises(EntryError, match="Use semivolatiles_to_dryness or new_analyte"):
        example_dossiers.load(session.store, "espresso", ANALYST)


def test_a_reader_cannot_load_one(session):
    reader = User("auditor", frozenset({"read"}))
    with pytest.raises(NotAllowed):
        example_dossiers.load(session.store, KEYS[0], reader)
    assert service.summaries(session) == []


def test_a_missing_folder_is_said_with_a_cure(session, monkeypatch, tmp_path):
    monkeypatch.setattr(example_dossiers, "FOLDER", tmp_path)
    with pytest.raises(EntryError, match="Install the program from a clone"):
        example_dossiers.load(session.store, KEYS[0], ANALYST)
