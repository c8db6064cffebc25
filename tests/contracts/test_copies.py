"""What is handed out may be changed, copied and sent to another process; the record stays."""

from __future__ import annotations

import copy
import pickle
from pathlib import Path

import pytest

from experiments import Dossier
from experiments.cli_output import Refusal
from experiments.entries import EntryError
from experiments.job_file import JobError, parse
from experiments.storage.protocol import StaleRevision, StoreError, UnknownDossier
from experiments.users import NotAllowed, User
from models.errors import ModelError, UnknownSubstance

EXAMPLE = Path(__file__).parents[2] / "examples" / "semivolatiles_to_dryness.toml"
WAYS = {"pickle": lambda x: pickle.loads(pickle.dumps(x)),  # noqa: S301 - made here
        "copy": copy.copy, "deepcopy": copy.deepcopy}


@pytest.fixture
def dossier():
    return Dossier.start(EXAMPLE, dossier_id="d")


def faulty() -> JobError:
    with pytest.raises(JobError) as refused:
        parse({"title": 3, "seed": "a"})
    return refused.value


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("error", [
    faulty, lambda: EntryError("Wrong.", "Mend it."), lambda: StoreError("Wrong.", "Mend it."),
    lambda: UnknownDossier("x"), lambda: StaleRevision(Dossier.start(EXAMPLE).events),
    lambda: NotAllowed(User("Ann"), "enter"), lambda: ModelError("Wrong.", cure="Mend it."),
    lambda: UnknownSubstance("acetoone", ("acetone",)),
    lambda: Refusal("Wrong.", "Mend it.", {"rejected": []}),
])
def test_an_error_comes_back_from_a_worker_with_its_words(error, way):
    first = error()
    again = WAYS[way](first)
    assert type(again) is type(first)
    assert str(again) == str(first)
    assert vars(again) == vars(first)


@pytest.mark.parametrize("way", WAYS)
def test_a_copy_of_a_dossier_goes_its_own_way(dossier, way):
    dossier.stop_reason = "enough"
    before = dossier.events
    other = WAYS[way](dossier)
    assert (other.events, other.stop_reason) == (before, "enough")
    other.record("T1", run_time_min=41.5)
    assert dossier.events == before
    assert [t.id for t in dossier.pending] == ["T1"]
    assert [t.id for t in other.recorded] == ["T1"]


def test_a_setting_that_is_changed_to_enter_another_run_leaves_its_trial_as_it_was(dossier):
    """As somebody does who ran the proposed setting five degrees hotter."""
    planned = dossier.trials[0].setting["set_temperature_c"]
    for setting in (dossier.trials[0].setting, dossier.pending[0].setting,
                    dossier.trial("T1").setting, dossier.job.today):
        setting["set_temperature_c"] = planned + 5.0
        entered = dossier.record(setting=setting, run_time_min=40.0)
        assert dossier.trial(entered).setting["set_temperature_c"] == planned + 5.0
        assert dossier.trial("T1").setting["set_temperature_c"] == planned
    again = Dossier.from_events(dossier.events)
    assert again.trials == dossier.trials
