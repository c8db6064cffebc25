"""A job while it is written: nothing typed is lost, and every fault is at its field."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.example_dossiers import names
from experiments.job_file import parse
from experiments.job_text import to_mapping
from experiments.wording import listed
from tests.fuzzing import examples
from wizard import presets
from wizard.units import Units
from wizard.view_models import job_fields as fields
from wizard.view_models.job_draft import (
    check,
    draft_of,
    drop_factor,
    job_mapping,
    put,
    put_text,
    shown_text,
    value_at,
)
from wizard.view_models.job_sentence import job_sentence

FILL = fields.SAMPLE[0]


def full_draft():
    draft = presets.first_draft()
    solvents, factors, cap = presets.solvent_tables("Dichloromethane")
    draft["title"] = "PAHs from dichloromethane"
    draft["sample"] |= {"solvents": solvents, "fill_volume_ml": 40, "max_temperature_c": cap}
    draft["factors"] = factors
    draft["equipment"] = dict(presets.EVAPORATORS["12 tubes of 100 mL, cold trap at −45 °C"])
    draft["analytes"] = presets.analyte_rows("Polycyclic aromatics, light to heavy")
    return draft


def test_a_first_draft_has_gaps_and_nothing_wrong():
    found = check(presets.first_draft())
    assert found.job is None
    assert found.gaps > 10
    assert found.wrong == 0


def test_presets_make_a_job():
    assert check(full_draft()).job is not None


def test_what_an_empty_field_is_said_to_be_taken_for_is_what_the_job_takes():
    draft = full_draft()
    draft["analytes"][0]["boiling_point"] = {"temperature_c": 218}
    shown = (*fields.VESSEL_MORE, *fields.SAMPLE_MORE, *fields.LIMITS, *fields.analyte_fields(0),
             *fields.data_sheet_fields(0))
    for field in shown:
        if field.optional and "temperature_c" not in field.path and "cas" not in field.path:
            put(draft, field.path, None)
    job = json.loads(json.dumps(asdict(parse(job_mapping(draft), chemistry=False))))
    taken = {field.path: field.assumed for field in shown if field.assumed}
    assert len(taken) == 11
    for path, said in taken.items():
        held = value_at(job, path)
        assert said == (held if isinstance(held, str) else f"{held:g}"), path


@pytest.mark.parametrize("solvent", list(presets.SOLVENTS))
@pytest.mark.parametrize("evaporator", list(presets.EVAPORATORS))
def test_every_preset_of_solvent_and_evaporator_goes_together(solvent, evaporator):
    draft = full_draft()
    solvents, factors, cap = presets.solvent_tables(solvent)
    draft["sample"] |= {"solvents": solvents, "max_temperature_c": cap, "fill_volume_ml": 8}
    draft["factors"] = factors
    draft["equipment"] = dict(presets.EVAPORATORS[evaporator])
    found = check(draft)
    assert found.job is not None, found.faults


@pytest.mark.parametrize("name", list(presets.ANALYTES))
def test_every_analyte_of_a_list_is_known(name):
    draft = full_draft() | {"analytes": presets.analyte_rows(name)}
    found = check(draft)
    assert found.job is not None, found.faults


def test_text_that_is_no_number_stays_and_is_named_beside_its_field():
    draft = full_draft()
    put_text(draft, FILL, "40x", Units())
    assert shown_text(draft, FILL, Units()) == "40x"
    (fault,) = check(draft).at(FILL.path)
    assert "not a number" in fault.message
    assert "12.5 or 12,5" in fault.cure
    assert json.loads(json.dumps(draft)) == draft


TYPED = st.text(max_size=8) | st.sampled_from([
    "1e308", "-1e308", "1e400", "nan", "inf", "9" * 400, "1e-400", "1,234", "12,5", "=1+1",
    "<script>", "\u0663", "\x00", "\ud800"]) | st.floats().map(str)


@settings(deadline=None, max_examples=examples(60))
@given(field=st.sampled_from([*fields.SAMPLE, *fields.VESSEL]), text=TYPED,
       units=st.builds(Units, st.sampled_from(["mbar", "kPa", "Torr"]),
                       st.sampled_from(["°C", "K"]), st.sampled_from(["point", "comma"])))
def test_whatever_is_typed_into_a_field_can_be_kept_shown_and_judged(field, text, units):
    draft = full_draft()
    put_text(draft, field, text, units)
    assert json.loads(json.dumps(draft, allow_nan=False)) == draft
    assert isinstance(shown_text(draft, field, units), str)
    found = check(draft)
    assert found.job is not None or found.faults or found.is_gap(field.path)


def test_typed_numbers_are_kept_in_contract_units():
    draft = full_draft()
    field = fields.VESSEL[7]
    assert field.path == "equipment.ramp_start_pressure_mbar"
    put_text(draft, field, "52,5", Units("Torr"))
    assert value_at(draft, field.path) == pytest.approx(69.994, abs=1e-3)
    assert shown_text(draft, field, Units("Torr", decimal="comma")) == "52,5"


def test_an_emptied_field_is_a_gap_again():
    draft = full_draft()
    put_text(draft, FILL, "  ", Units())
    found = check(draft)
    assert found.is_gap(FILL.path)
    assert not found.at(FILL.path)


def test_the_share_of_a_solvent_just_added_is_a_gap_and_no_fault():
    draft = full_draft()
    put(draft, "sample.solvents", [{"name": "dichloromethane", "volume_fraction": 0.6},
                                   {"name": "acetone", "volume_fraction": ""}])
    found = check(draft)
    assert found.is_gap("sample.solvents[1].volume_fraction")
    assert not found.at("sample.solvents[1].volume_fraction")


def test_faults_that_need_several_fields_are_at_the_field_to_change():
    draft = full_draft()
    put(draft, "sample.fill_volume_ml", 300)
    (fault,) = check(draft).at("sample.fill_volume_ml")
    assert "100 mL" in fault.message


def test_equal_bounds_fix_a_factor_whatever_the_step():
    draft = full_draft()
    draft["factors"]["ramp_rate_mbar_per_min"] = {"low": 40, "high": 40, "step": 5}
    job = check(draft).job
    assert job is not None
    assert job.factor("ramp_rate_mbar_per_min").is_fixed


def test_faults_of_fields_that_are_not_shown_are_not_lost():
    draft = full_draft() | {"colour": "blue"}
    (fault,) = check(draft).elsewhere({"title"})
    assert fault.path == "colour"


@pytest.mark.parametrize("example", [e.key for e in names()])
def test_a_job_survives_the_way_through_a_draft(example):
    job = parse(next(e.job for e in names() if e.key == example))
    again = check(draft_of(to_mapping(job))).job
    assert again == job


def test_paths_reach_into_lists():
    draft = {}
    put(draft, "analytes[1].vapour_pressure[0].pressure_pa", 0.5)
    assert draft == {"analytes": [{}, {"vapour_pressure": [{"pressure_pa": 0.5}]}]}
    assert value_at(draft, "analytes[1].vapour_pressure[0].pressure_pa") == 0.5
    assert value_at(draft, "analytes[4].name") is None
    put(draft, "analytes[1].vapour_pressure[0].pressure_pa", None)
    assert value_at(draft, "analytes[1].vapour_pressure[0].pressure_pa") is None


def test_empty_tables_of_a_new_analyte_are_left_out():
    draft = full_draft()
    draft["analytes"].append({"name": "QX", "target_recovery_percent": 80, "boiling_point": {},
                              "vapour_pressure": [{}], "cas": ""})
    assert "boiling_point" not in job_mapping(draft)["analytes"][-1]


def test_a_method_in_use_that_is_not_typed_yet_is_a_gap():
    draft = full_draft() | {"today": {"setting": {}}}
    assert check(draft).job is None
    assert check(draft).is_gap("today.setting.end_pressure_mbar")


def with_keepers():
    draft = full_draft()
    draft["sample"]["keeper"] = {"name": "n-dodecane", "volume_ml": 0.5}
    draft["factors"]["keeper"] = {"choices": ["n-dodecane", "n-tetradecane"]}
    return draft


def test_the_method_in_use_names_its_keeper_where_that_is_a_choice():
    draft = with_keepers()
    wanted = fields.today_fields(draft["factors"])
    keeper = next(f for f in wanted if f.key == "keeper")
    assert [c for c, _ in keeper.choices] == ["", "n-dodecane", "n-tetradecane"]
    typed = {"set_temperature_c": "40", "ramp_rate_mbar_per_min": "20", "end_pressure_mbar": "60",
             "keeper": "n-dodecane"}
    assert {f.key for f in wanted} == set(typed)
    for field in wanted:
        put_text(draft, field, typed[field.key], Units())
    job = check(draft).job
    assert job is not None
    assert job.today is not None
    assert job.today["keeper"] == "n-dodecane"


def test_what_is_varied_no_longer_leaves_the_method_in_use_too():
    draft = with_keepers() | {"today": {"setting": {
        "set_temperature_c": 40, "ramp_rate_mbar_per_min": 20, "end_pressure_mbar": 60,
        "keeper": "n-dodecane"}}}
    drop_factor(draft, "keeper")
    job = check(draft).job
    assert job is not None
    assert "keeper" not in (job.today or {})
    drop_factor(draft, "end_point_hold_min")
    assert check(draft).job == job


def test_the_sentence_restates_the_job():
    text = job_sentence(full_draft(), Units())
    for part in ("12 vessels", "40 mL of dichloromethane", "to dryness", "below 50 °C",
                 "naphthalene (at least 70 %); acenaphthene and fluorene (each at least 80 %)",
                 "set temperature (25 to 55 °C)", "12 trials"):
        assert part in text
    assert "…" in job_sentence(presets.first_draft(), Units())


def test_the_sentence_names_no_figure_that_is_varied_or_impossible():
    draft = full_draft()
    draft["sample"] |= {"keeper": {"name": "n-dodecane", "volume_ml": 0.5}, "end_volume_ml": 1}
    assert "with 0.5 mL of n-dodecane as keeper and is taken to 1 mL" in job_sentence(
        draft, Units())
    draft["factors"]["end_volume_ml"] = {"low": 1, "high": 2}
    draft["factors"]["keeper"] = {"choices": ["n-dodecane", "n-tetradecane"]}
    assert "with 0.5 mL of a keeper and is taken to an end volume" in job_sentence(
        draft, Units())
    draft["factors"]["keeper_volume_ml"] = {"low": 0.2, "high": 2}
    assert "with a keeper and" in job_sentence(draft, Units())
    draft["sample"] |= {"max_temperature_c": None, "solvents": [
        {"name": "acetone", "volume_fraction": 60}, {"name": "n-hexane", "volume_fraction": 40}]}
    said = job_sentence(draft, Units())
    assert "of acetone and n-hexane with" in said
    assert "stays below … What" in said


def test_the_sentence_follows_the_units():
    assert "end pressure (2 to 30 kPa)" in job_sentence(full_draft(), Units("kPa"))


def test_lists_read_like_sentences():
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(list("abcdefgh"), 3) == "a, b, c and 5 more"
