"""The use-cases: roles, states, versions, and saves that never cover somebody else's."""

from __future__ import annotations

import copy
import sqlite3
from types import SimpleNamespace

import pytest

from experiments import approval, service
from experiments.answers import Answer, Forecast, Interval
from experiments.corrections import who_entered
from experiments.dossier import Dossier, DossierError
from experiments.entries import EntryError
from experiments.event_checks import check_events
from experiments.job_differences import carried_results_words
from experiments.storage.database import DatabaseStore
from experiments.storage.memory import MemoryStore
from experiments.storage.protocol import StaleRevision, StoreError, UnknownDossier, append
from experiments.summaries import summarise
from experiments.users import NotAllowed, User

A = "recovery_percent:diethyl phthalate"
TABLE = f"trial,run_time_min,{A}\nT1,41.5,88.1\nT2,40,<5\n"
ENTER = frozenset({"read", "enter"})
VERIFIED = {"run": "V1"}


@pytest.fixture
def store():
    return MemoryStore()


@pytest.fixture
def ada(store):
    return service.Session(store, User("Ada", ENTER))


@pytest.fixture
def kept(ada, dossier):
    """The dossier with two pending trials, in the store."""
    append(ada.store, dossier.id, dossier.events, 0, summarise(dossier))
    return dossier.id


def approver(store, name="Grace"):
    return service.Session(store, User(name, frozenset({"read", "enter", "approve"})))


def test_a_job_becomes_a_dossier_and_is_listed(ada, job_mapping):
    made = service.create(ada, job_mapping)
    (summary,) = service.summaries(ada)
    assert (summary.id, summary.state, summary.trials, summary.title) == (
        made.id, "draft", 0, job_mapping["title"])
    assert summary.facts["solvents"] == ["ethyl acetate"]
    assert service.load(ada, made.id).job == made.job


def test_a_table_is_recorded_whole_or_not_at_all(ada, kept):
    before = ada.store.events(kept)
    for bad in (TABLE.replace("T2", "T9"), TABLE.replace("<5", "-5"), TABLE + "T1,41.5,88\n", ""):
        dossier, table, ids = service.record_table(ada, kept, bad)
        assert (dossier, ids) == (None, [])
        assert table.rejected
        assert ada.store.events(kept) == before
    dossier, table, ids = service.record_table(ada, kept, TABLE)
    assert ids == ["T1", "T2"]
    assert dossier.state == "running"
    assert len(ada.store.events(kept)) == len(before) + 2


def test_a_table_recorded_twice_is_refused_row_by_row(ada, kept):
    service.record_table(ada, kept, TABLE)
    table = service.preview_table(ada, kept, TABLE)
    assert [r.row for r in table.rejected] == [2, 3]
    assert all("already recorded" in r.reason for r in table.rejected)


def test_a_preview_saves_nothing(ada, kept):
    assert service.preview_table(ada, kept, TABLE).is_clean
    assert len(service.load(ada, kept).pending) == 2


def test_a_save_on_an_old_page_is_refused_and_says_who_did_what(ada, kept):
    seen = len(ada.store.events(kept))
    service.record(approver(ada.store), kept, "T1", run_time_min=40)
    with pytest.raises(StaleRevision, match="Grace") as caught:
        service.record(ada, kept, "T2", revision=seen, run_time_min=41)
    assert [e.payload["trial"] for e in caught.value.newer] == ["T1"]
    assert service.load(ada, kept).trial("T2").result is None
    service.record(ada, kept, "T2", run_time_min=41)
    assert len(service.load(ada, kept).recorded) == 2


def test_a_change_is_made_again_when_somebody_was_faster(ada, kept):
    """Between load and save Grace records; without a revision Ada's entry follows hers."""
    hurried = []

    def act(dossier):
        if not hurried:
            hurried.append(service.record(approver(ada.store), kept, "T1", run_time_min=40))
        return dossier.record("T2", run_time_min=41)

    dossier, given = service.change(ada, kept, act)
    assert given == "T2"
    assert [t.id for t in dossier.recorded] == ["T1", "T2"]
    assert [e.who for e in ada.store.events(kept)[-2:]] == ["Grace", "Ada"]


def test_looking_at_an_answer_never_fails_because_somebody_saved(ada, kept):
    """What was looked at is noted at the next look instead."""
    service.record(ada, kept, "T1", run_time_min=40)
    read = service.load(ada, kept)
    service.record(approver(ada.store), kept, "T2", run_time_min=41)
    before = ada.store.events(kept)
    service.note_answer(ada, read, SimpleNamespace(
        status="more trials needed", setting=None, reason="", probability=0.5,
        run_time_min=Interval(1.0, 1.0, 1.0), recovery_percent={}))
    assert ada.store.events(kept) == before


@pytest.mark.parametrize("action", [
    lambda s, d: service.create(s, {}),
    lambda s, d: service.propose(s, d, 1),
    lambda s, d: service.record(s, d, "T1", run_time_min=40),
    lambda s, d: service.record_table(s, d, TABLE),
    lambda s, d: service.withdraw(s, d, "T1"),
    lambda s, d: service.correct(s, d, "T1", "why", run_time_min=3),
    lambda s, d: service.exclude(s, d, "T1", "why"),
    lambda s, d: service.include(s, d, "T1", "why"),
    lambda s, d: approval.change_state(s, d, "retired"),
    lambda s, d: approval.change_state(s, d, "running"),
    lambda s, d: approval.new_version(s, d),
])
def test_a_reader_cannot_write(store, ada, kept, action):
    before = store.events(kept)
    reader = service.Session(store, User("Rhea", frozenset({"read"})))
    with pytest.raises(NotAllowed) as caught:
        action(reader, kept)
    assert caught.value.cure
    assert store.events(kept) == before
    assert service.load(reader, kept).id == kept


def test_a_stranger_cannot_even_read(store, kept):
    stranger = service.Session(store, User("Nobody", frozenset()))
    for action in (service.load, service.preview_table):
        with pytest.raises(NotAllowed):
            action(stranger, kept, *([TABLE] if action is service.preview_table else []))
    for action in (service.summaries, service.audit):
        with pytest.raises(NotAllowed):
            action(stranger)


def verified(session, dossier_id):
    """Bring a dossier to "verified" as the record sees it."""
    def act(dossier: Dossier) -> None:
        dossier.record("T1", run_time_min=41.0)
        dossier.move_to("recommended")
        dossier.move_to("verified", "six runs passed")

    return service.change(session, dossier_id, act)[0]


def test_an_enterer_cannot_approve_and_nobody_approves_his_own_results(store, ada, kept):
    verified(ada, kept)
    with pytest.raises(NotAllowed):
        approval.change_state(ada, kept, "approved")
    with pytest.raises(DossierError, match="entered results"):
        approval.change_state(approver(store, "Ada"), kept, "approved")
    assert approval.change_state(approver(store), kept, "approved", "routine").state == "approved"


def test_the_one_local_user_may_approve(store, kept):
    local = service.Session(store, User("me", is_local=True))
    verified(local, kept)
    assert approval.change_state(local, kept, "approved").state == "approved"


def test_only_legal_moves(store, kept):
    session = approver(store)
    for to in ("approved", "recommended and more", "draft", ""):
        with pytest.raises(DossierError):
            approval.change_state(session, kept, to)
    with pytest.raises(DossierError, match="has not been verified"):
        approval.change_state(session, kept, "verified")


def test_an_approved_method_is_frozen_and_changes_by_a_new_version(store, ada, kept, job_mapping):
    service.correct(ada, kept, *_recorded(ada, kept), run_time_min=40.5)
    verified_by_hand(ada, kept)
    approval.change_state(approver(store), kept, "approved")
    with pytest.raises(DossierError, match="approved"):
        service.record(ada, kept, "T1", recovery_percent={"diethyl phthalate": 80})
    changed = copy.deepcopy(job_mapping)
    changed["analytes"][0]["target_recovery_percent"] = 70
    new = approval.new_version(ada, kept, changed, "the target was lowered")
    assert (new.version, new.details.previous, new.state) == (2, kept, "running")
    start = new.events[0].payload
    assert start["changes"] == [{
        "path": "analytes[diethyl phthalate].target_recovery_percent", "before": 85.0,
        "after": 70.0}]
    assert start["previous_hash"] == store.events(kept)[-1].hash
    assert new.trial("T1").result == service.load(ada, kept).trial("T2").result
    assert service.load(ada, kept).state == "approved"


def _recorded(session, dossier_id):
    service.record(session, dossier_id, "T2", run_time_min=41.0,
                   recovery_percent={"diethyl phthalate": [88.0]})
    return "T2", "stopwatch was late"


def verified_by_hand(session, dossier_id):
    def act(dossier: Dossier) -> None:
        dossier.move_to("recommended")
        dossier.move_to("verified")

    service.change(session, dossier_id, act)


def test_results_do_not_come_along_to_another_sample(ada, kept, job_mapping):
    _recorded(ada, kept)
    changed = copy.deepcopy(job_mapping)
    changed["sample"]["fill_volume_ml"] = 20
    new = approval.new_version(ada, kept, changed)
    assert new.trials == ()
    assert new.events[0].payload["results_carried"] is False


def test_without_results_there_is_nothing_that_another_sample_could_void(ada, kept, job_mapping):
    changed = copy.deepcopy(job_mapping)
    changed["sample"]["fill_volume_ml"] = 20
    start = approval.new_version(ada, kept, changed).events[0].payload
    assert carried_results_words(start) == "The previous version had no results."


def test_trials_still_to_be_run_stay_with_the_old_version(ada, kept):
    """A running dossier may be followed; what is recorded in it afterwards stays there."""
    service.record(ada, kept, "T1", run_time_min=41.0)
    old = service.load(ada, kept)
    assert old.state == "running"
    assert approval.staying_words(old) == f"Still to be run in {kept}, and staying there: T2."
    new = approval.new_version(ada, kept)
    service.record(ada, kept, "T2", run_time_min=39.0)
    assert [t.result.run_time_min for t in service.load(ada, new.id).trials] == [41.0]
    assert approval.staying_words(service.load(ada, kept)) == ""


def test_a_changed_event_is_found_by_the_audit_and_the_dossier_not_used(tmp_path, dossier):
    store = DatabaseStore(f"sqlite:///{tmp_path / 's.sqlite'}")
    session = service.Session(store, User("Ada"))
    append(store, dossier.id, dossier.events, 0, summarise(dossier))
    assert service.audit(session)[dossier.id].holds
    with sqlite3.connect(tmp_path / "s.sqlite") as connection:
        connection.execute("UPDATE audit_event SET payload = replace(payload, '45', '46') "
                           "WHERE seq = 2")
    connection.close()
    check = service.audit(session)[dossier.id]
    assert (check.holds, check.first_broken) == (False, 2)
    with pytest.raises(StoreError, match="broken at event 2"):
        service.load(session, dossier.id)


def test_a_missing_last_event_is_found_by_the_audit(tmp_path, dossier):
    store = DatabaseStore(f"sqlite:///{tmp_path / 's.sqlite'}")
    session = service.Session(store, User("Ada"))
    append(store, dossier.id, dossier.events, 0, summarise(dossier))
    for gone, first in (("seq = 3", 3), ("seq >= 1", 1)):
        with sqlite3.connect(tmp_path / "s.sqlite") as connection:
            connection.execute(f"DELETE FROM audit_event WHERE {gone}")  # noqa: S608
        connection.close()
        check = service.audit(session)[dossier.id]
        assert (check.holds, check.first_broken) == (False, first)


def test_an_unknown_dossier_is_said_to_be_unknown(ada):
    for action in (service.load, service.propose):
        with pytest.raises(UnknownDossier):
            action(ada, "nowhere", *([1] if action is service.propose else []))


def test_what_is_recommended_again_after_a_proposal_was_withdrawn_can_be_verified(
    ada, kept, monkeypatch
):
    forecast = Forecast({}, Interval(40.0, 38.0, 42.0), {}, 0.96)
    setting = {"set_temperature_c": 40.0, "ramp_rate_mbar_per_min": 50.0,
               "end_pressure_mbar": 60.0}
    answer = Answer("recommended", "as before", setting, forecast, forecast,
                    forecast.run_time_min, {}, 0.96)
    monkeypatch.setattr(Dossier, "recommend", lambda self, robust=True, progress=None: answer)
    service.record_table(ada, kept, TABLE)
    service.recommend(ada, kept)
    assert service.load(ada, kept).state == "recommended"
    service.exclude(ada, kept, "T2", "spilt")
    service.include(ada, kept, "T2", "it was another")
    assert service.load(ada, kept).state == "running"
    service.recommend(ada, kept)
    assert service.load(ada, kept).state == "recommended"


@pytest.mark.parametrize(("before", "after"), [(True, False), (False, True)])
def test_readings_corrected_by_a_standard_do_not_mix_with_others(dossier, before, after):
    dossier.record("T1", run_time_min=40.0, corrected=before,
                   recovery_percent={"diethyl phthalate": [88.0]})
    with pytest.raises(EntryError, match="by a standard are already recorded"):
        dossier.record("T1", corrected=after,
                       recovery_percent={"diethyl phthalate": [None, 89.0]})
    dossier.record("T1", corrected=before, recovery_percent={
        "diethyl phthalate": [None, 89.0], "1,2-dichlorobenzene": None})
    assert dossier.trial("T1").result.corrected is before


@pytest.mark.parametrize(("offered", "comes_along"), [
    (["n-nonane", "n-decane"], True), (["n-decane", "n-dodecane"], False)])
def test_results_come_along_while_their_keeper_is_still_offered(
    ada, job_mapping, setting, offered, comes_along
):
    """A run with a keeper that the new job does not have could neither be fitted nor exported."""
    job_mapping["sample"]["keeper"] = {"name": "n-nonane", "volume_ml": 0.5}
    job_mapping["factors"]["keeper"] = {"choices": ["n-nonane", "n-dodecane"]}
    old = service.create(ada, job_mapping).id
    service.record(ada, old, setting={**setting, "keeper": "n-nonane"}, run_time_min=40)
    job_mapping["factors"]["keeper"] = {"choices": offered}
    new = approval.new_version(ada, old, job_mapping, "another keeper")
    assert [t.setting["keeper"] for t in new.trials] == ["n-nonane"] * comes_along
    assert new.events[0].payload["results_carried"] is comes_along
    assert check_events(new.events) == new.id


def test_nobody_approves_results_that_he_entered_in_an_earlier_version(store, ada, kept):
    """Bob starts the second version and Carl the third; the results are Ada's all the same."""
    service.record(ada, kept, "T1", run_time_min=41.0)
    for name in ("Bob", "Carl"):
        kept = approval.new_version(approver(store, name), kept).id
    assert who_entered(store.events(kept)) == ("Ada", "Bob", "Carl")
    verified_by_hand(approver(store, "Dora"), kept)
    with pytest.raises(EntryError, match="Ada entered results"):
        approval.change_state(approver(store, "Ada"), kept, "approved")
    assert approval.change_state(approver(store), kept, "approved").state == "approved"
