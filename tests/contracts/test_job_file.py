"""The job file of the contract: read to the letter, every fault at once with path and cure."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments import Dossier, JobError
from experiments.job_file import parse
from experiments.job_text import assumed_values, read_back, to_mapping, to_toml
from tests.fuzzing import examples

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
TEXT = """
title = "Plasticisers and PAHs from dichloromethane"
seed = 3
[equipment]
name = "Evaporator D"
vessels = 6
vessel_capacity_ml = 200
relative_centrifugal_force = 320
rotor_radius_mm = 175
condenser_temperature_c = -20
condenser_capacity_ml = 1800
ramp_start_pressure_mbar = 700
ultimate_pressure_mbar = 2
end_point_load_fraction = 0.1
end_point_hold_min = 3
[factors]
set_temperature_c = { low = 25, high = 60, step = 1 }
ramp_rate_mbar_per_min = { low = 5, high = 200 }
end_pressure_mbar = { low = 5, high = 200 }
[sample]
fill_volume_ml = 110
solvents = [ { name = "dichloromethane", volume_fraction = 1.0 } ]
keeper = { name = "n-dodecane", volume_ml = 1.5 }
end_volume_ml = 0
max_temperature_c = 50
[[analytes]]
name = "fluorene"
cas = "86-73-7"
target_recovery_percent = 80
[[analytes]]
name = "Metabolite K"
molar_mass_g_per_mol = 287.4
vapour_pressure = [ { temperature_c = 25, pressure_pa = 0.05 } ]
boiling_point = { temperature_c = 131, pressure_mbar = 15 }
target_recovery_percent = 75
[limits]
max_run_time_min = 200
handling_min = 15
assurance = 0.9
trials = 9
trials_per_batch = 3
"""


def mapping() -> dict:
    return tomllib.loads(TEXT)


def changed(path: str, value: object) -> dict:
    """The job with one value put at a dotted path; ``...`` removes it."""
    data = copy.deepcopy(mapping())
    *parents, last = path.split(".")
    place = data
    for part in parents:
        place = place[int(part) if part.isdigit() else part]
    key = int(last) if last.isdigit() else last
    if value is ...:
        del place[key]
    else:
        place[key] = value
    return data


def faults(source) -> dict[str, str]:
    with pytest.raises(JobError) as caught:
        parse(source)
    found = caught.value.faults
    assert found
    assert all(f.path and f.message.strip() and f.cure.strip() for f in found)
    assert all(str(f) in str(caught.value) for f in found)
    return {
        path: " ".join(f"{f.message} {f.cure}" for f in found if f.path == path)
        for path in {f.path for f in found}
    }


@pytest.mark.parametrize("held", [b"", b" \n\n"])
def test_an_empty_file_is_one_fault(tmp_path, held):
    path = tmp_path / "job.toml"
    path.write_bytes(held)
    with pytest.raises(JobError) as refused:
        parse(path)
    assert str(refused.value) == (
        "job: is empty. Give a job file; the examples show what it holds.")


def test_text_file_and_mapping_are_the_same_job(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(TEXT, encoding="utf-8")
    assert parse(TEXT) == parse(path) == parse(str(path)) == parse(mapping())


def test_what_the_file_leaves_out_is_assumed_and_said():
    job = parse(TEXT)
    assert job.equipment.assumed == (
        "chamber_volume_l", "condenser_power_w", "end_pressure_tolerance_mbar", "heating",
        "pump_speed_m3_per_h", "set_temperature_tolerance_c")
    assert job.sample.assumed == ("residue_mg",)
    assert job.analytes[0].assumed == ("role", "spike_ug", "upper_recovery_percent")
    assert (job.equipment.heating, job.analytes[0].role) == ("contact", "must")


def test_a_boiling_point_without_its_pressure_is_taken_at_one_atmosphere_and_said():
    job = parse(changed("analytes.1.boiling_point", {"temperature_c": 330}))
    assert job.analytes[1].boiling_point.pressure_mbar == 1013.25
    assert "boiling_point.pressure_mbar" in job.analytes[1].assumed
    assert assumed_values(job)["analytes"][1]["boiling_point.pressure_mbar"] == 1013.25
    assert parse(to_mapping(job)) == parse(to_toml(job)) == job
    assert read_back(to_mapping(job), assumed_values(job)) == job


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_a_job_comes_back_from_its_text_and_mapping(path):
    job = parse(path)
    assert parse(to_toml(job)) == job
    assert parse(to_mapping(job)) == job
    assert read_back(to_mapping(job), assumed_values(job)) == job


REQUIRED = [
    "title", "seed", "equipment", "factors", "sample", "analytes", "limits",
    *(f"equipment.{k}" for k in (
        "name", "vessels", "vessel_capacity_ml", "relative_centrifugal_force", "rotor_radius_mm",
        "condenser_temperature_c", "condenser_capacity_ml", "ramp_start_pressure_mbar",
        "ultimate_pressure_mbar", "end_point_load_fraction", "end_point_hold_min")),
    "factors.set_temperature_c", "factors.ramp_rate_mbar_per_min", "factors.end_pressure_mbar",
    "factors.set_temperature_c.low", "factors.set_temperature_c.high",
    "sample.fill_volume_ml", "sample.solvents", "sample.end_volume_ml",
    "sample.max_temperature_c", "sample.keeper.name", "sample.keeper.volume_ml",
    "limits.max_run_time_min", "limits.assurance", "limits.trials", "limits.trials_per_batch",
]


@pytest.mark.parametrize("path", REQUIRED)
def test_a_missing_key_is_named(path):
    assert "is missing" in faults(changed(path, ...))[path]


@pytest.mark.parametrize(("path", "value", "where", "said"), [
    ("equipment.vesels", 6, "equipment.vesels", "Did you mean 'vessels'?"),
    ("colour", "red", "colour", "not a known key"),
    ("sample.solvents.0.fraction", 1, "sample.solvents[0].fraction", "not a known key"),
    ("title", "", "title", "empty"),
    ("title", 5, "title", "must be text"),
    ("title", "a\x00b", "title", "control characters"),
    ("seed", -1, "seed", "at least 0"),
    ("seed", 1.5, "seed", "whole"),
    ("equipment.vessels", 0, "equipment.vessels", "at least 1"),
    ("equipment.vessels", "six", "equipment.vessels", "must be a number"),
    ("equipment.vessels", True, "equipment.vessels", "must be a number"),
    ("equipment.rotor_radius_mm", math.nan, "equipment.rotor_radius_mm", "finite"),
    ("equipment.rotor_radius_mm", math.inf, "equipment.rotor_radius_mm", "finite"),
    ("equipment.rotor_radius_mm", 10**400, "equipment.rotor_radius_mm", "finite"),
    ("equipment.condenser_temperature_c", -300, "equipment.condenser_temperature_c", "at least"),
    ("equipment.end_point_load_fraction", 1.5, "equipment.end_point_load_fraction", "at most"),
    ("equipment.heating", "steam", "equipment.heating", "'contact'"),
    ("equipment.ultimate_pressure_mbar", 710, "equipment.ultimate_pressure_mbar", "at most 500"),
    ("factors.set_temperature_c", {"low": 60, "high": 25}, "factors.set_temperature_c.low",
     "above high"),
    ("factors.set_temperature_c", {"low": 25, "high": 60, "step": 50},
     "factors.set_temperature_c.step", "wider than the range"),
    ("factors.set_temperature_c", {"low": 25, "high": 60, "step": 0},
     "factors.set_temperature_c.step", "above 0"),
    ("factors.set_temperature_c", "hot", "factors.set_temperature_c", "must be a number"),
    ("factors.end_pressure_mbar", {"low": 5, "high": 800}, "factors.end_pressure_mbar",
     "start of the ramp"),
    ("factors.end_pressure_mbar", {"low": 1, "high": 200}, "factors.end_pressure_mbar",
     "ultimate pressure"),
    ("factors.end_pressure_mbar", {"low": 500, "high": 650}, "factors.end_pressure_mbar", None),
    ("factors.keeper", {"choices": []}, "factors.keeper.choices", "different keeper names"),
    ("factors.keeper", {"choices": [""]}, "factors.keeper.choices", "different keeper names"),
    ("factors.keeper", " ", "factors.keeper", "is empty"),
    ("factors.keeper", {"choices": ["n-dodecane", "water-ish"]}, "factors.keeper.choices[1]",
     "Unknown substance"),
    ("factors.speed", 5, "factors.speed", "not a known key"),
    ("sample.fill_volume_ml", 250, "sample.fill_volume_ml", "above the vessel's 200 mL"),
    ("sample.fill_volume_ml", 199, "sample.fill_volume_ml", "200.5 mL with the keeper"),
    ("sample.fill_volume_ml", -1, "sample.fill_volume_ml", "at least 0.001 mL"),
    ("equipment.chamber_volume_l", 1e-9, "equipment.chamber_volume_l", "at least 0.001 L"),
    ("sample.residue_mg", 110_000, "sample.residue_mg", "as much as the whole fill of 110 mL"),
    ("sample.solvents", [], "sample.solvents", "empty"),
    ("sample.solvents.0.volume_fraction", 0.9, "sample.solvents", "add to 0.9"),
    ("sample.solvents.0.name", "dichloromethone", "sample.solvents[0].name", "dichloromethane"),
    ("sample.solvents", [{"name": "dichloromethane", "volume_fraction": 0.5},
                         {"name": "75-09-2", "volume_fraction": 0.5}], "sample.solvents",
     "twice"),
    ("sample.keeper.name", "n-pentane", "sample.keeper.name", "before the solvent"),
    ("sample.keeper.name", "DCM", "sample.keeper.name", "also a solvent"),
    ("sample.keeper.name", "dodecanne", "sample.keeper.name", "n-dodecane"),
    ("sample.end_volume_ml", 5, "sample.end_volume_control", "is needed"),
    ("sample.end_volume_ml", 0.2, "sample.end_volume_ml", "not above the keeper's"),
    ("factors.end_volume_ml", {"low": 0, "high": 4}, "factors.end_volume_ml",
     "starts at 0 mL, not above the keeper's 1.5 mL"),
    ("today", {"setting": {"set_temperature_c": 40, "ramp_rate_mbar_per_min": 20,
                           "end_pressure_mbar": 900}}, "today.setting.end_pressure_mbar",
     "not below the start of the ramp"),
    ("analytes.1.vapour_pressure", [{"temperature_c": 25, "pressure_pa": 0.05},
                                    {"temperature_c": 60, "pressure_pa": 0.01}],
     "analytes[1].vapour_pressure[0].pressure_pa",
     "falls from 0.05 Pa at 25 degC to 0.01 Pa at 60 degC"),
    ("analytes.1.name", "Compound\u200b N", "analytes[1].name", "something unseen"),
    ("analytes.1.cas", "86-73-7", "analytes[1].name", "is the same substance as 'fluorene'"),
    ("factors.keeper", {"choices": ["n-hexadecane", "hexadecane"]},
     "factors.keeper.choices[1]", "is the same substance as 'n-hexadecane'"),
    ("sample.end_volume_ml", 120, "sample.end_volume_ml", "not below the fill"),
    ("sample.end_volume_control", "magic", "sample.end_volume_control", "cold tip"),
    ("analytes", [], "analytes", "empty"),
    ("analytes.0.target_recovery_percent", 101, "analytes[0].target_recovery_percent",
     "at most 100"),
    ("analytes.0.target_recovery_percent", 0, "analytes[0].target_recovery_percent", "above 0"),
    ("analytes.0.upper_recovery_percent", 70, "analytes[0].upper_recovery_percent",
     "not above the target"),
    ("analytes.0.cas", "86-73-8", "analytes[0].cas", "not a valid CAS number"),
    ("analytes.0.cas", "91-20-3", "analytes[0].cas", "is naphthalene, not fluorene"),
    ("analytes.0.name", "florene", "analytes[0].cas", None),
    ("analytes.1.name", "Fluorene", "analytes[1].name", "listed twice"),
    ("analytes.1.name", " Compound N", "analytes[1].name", "begins or ends with a space"),
    ("analytes.0.role", "maybe", "analytes[0].role", "'must'"),
    ("analytes.1.molar_mass_g_per_mol", ..., "analytes[1].molar_mass_g_per_mol", "is missing"),
    ("analytes.1.molar_mass_g_per_mol", 5001, "analytes[1].molar_mass_g_per_mol",
     "at most 5000 g/mol"),
    ("analytes.1.molar_mass_g_per_mol", 5000, "analytes[1].molar_mass_g_per_mol", None),
    ("analytes.1.molar_mass_g_per_mol", 10, "analytes[1].molar_mass_g_per_mol", None),
    ("analytes.1.vapour_pressure.0.pressure_pa", 0, "analytes[1].vapour_pressure[0].pressure_pa",
     "above 0"),
    ("analytes.1.vapour_pressure", 0.05, "analytes[1].vapour_pressure", "must be a list"),
    ("limits.assurance", 1.0, "limits.assurance", "at most 0.999"),
    ("limits.trials", 0, "limits.trials", "at least 1"),
    ("today", {"setting": {"set_temperature_c": 40}}, "today.setting.end_pressure_mbar",
     "is missing"),
    ("today", {"setting": {"set_temperature_c": 40, "ramp_rate_mbar_per_min": math.nan,
                           "end_pressure_mbar": 60}}, "today.setting.ramp_rate_mbar_per_min",
     "finite"),
])
def test_an_impossible_value_is_said_with_its_place(path, value, where, said):
    if said is None:
        parse(changed(path, value))
    else:
        assert said in faults(changed(path, value))[where]


def test_a_solvent_that_cannot_boil_anywhere_is_said():
    data = changed("sample.solvents.0.name", "water")
    data["factors"]["end_pressure_mbar"] = {"low": 150, "high": 200}
    data["factors"]["set_temperature_c"] = {"low": 25, "high": 45}
    data["sample"]["keeper"] = {"name": "propylene glycol", "volume_ml": 1}
    assert "cannot boil anywhere" in faults(data)["factors.set_temperature_c"]


def test_a_peroxide_former_is_not_dried_without_a_test():
    data = changed("sample.keeper", ...)
    data["sample"]["solvents"][0]["name"] = "diethyl ether"
    assert "peroxide" in faults(data)["sample.solvents[0].name"]
    data["sample"]["peroxide_test"] = "2 mg/L on 2026-03-01"
    assert parse(data).sample.peroxide_test
    data["factors"]["end_volume_ml"] = {"low": 0, "high": 1}
    data["sample"]["end_volume_control"] = "cold tip"
    del data["sample"]["peroxide_test"]
    assert "sample.solvents[0].name" in faults(data)


def test_an_unknown_analyte_without_data_is_said_and_what_would_do():
    data = changed("analytes.1", {"name": "unobtainium", "target_recovery_percent": 80})
    assert "molar mass" in faults(data)["analytes[1].name"]


def test_today_may_lie_outside_the_bounds_because_history_counts():
    today = {"set_temperature_c": 75, "ramp_rate_mbar_per_min": 2, "end_pressure_mbar": 400}
    data = changed("today", {"setting": today})
    assert parse(data).today == today


def test_every_fault_of_a_job_is_said_at_once():
    data = changed("sample.solvents.0.name", "dichloromethone")
    data["sample"]["fill_volume_ml"] = 500
    data["analytes"][0]["target_recovery_percent"] = 130
    data["analytes"][1]["name"] = ""
    data["colour"] = "red"
    del data["limits"]["trials"]
    data["equipment"]["vessels"] = math.nan
    data["factors"]["end_pressure_mbar"] = {"low": 5, "high": 900}
    found = faults(data)
    assert set(found) == {
        "sample.solvents[0].name", "sample.fill_volume_ml",
        "analytes[0].target_recovery_percent", "analytes[1].name", "colour", "limits.trials",
        "equipment.vessels", "factors.end_pressure_mbar",
    }


def test_what_cannot_be_described_in_water_is_said_of_each_analyte_beside_other_faults():
    data = changed("sample.solvents", [{"name": "water", "volume_fraction": 1.0}])
    data["analytes"].append({**data["analytes"][1], "name": "Compound P"})
    data["title"] = ""
    found = faults(data)
    assert "thousandfold" in found["analytes[1]"]
    assert "thousandfold" in found["analytes[2]"]
    assert "empty" in found["title"]


@pytest.mark.parametrize(("source", "said"), [
    ("nowhere.toml", "there is no file"),
    ("title = \n", "not valid TOML"),
    ("a\x00b", "not valid"),
    (Path("."), "is a folder"),
    ("", "cannot be read"),
    (None, "is no job"),
    (7, "is no job"),
    (b"title = 'x'\n", "is no job"),
    ([], "is no job"),
])
def test_what_is_no_job_at_all_is_one_fault(source, said):
    assert said in faults(source)["job"]


def test_a_file_that_is_no_text_is_one_fault(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xff\xfe\x00title")
    assert "not UTF-8" in faults(path)["job"]
    path.write_bytes(b"#" * 1_000_001)
    assert "larger than 1 MB" in faults(path)["job"]


def test_an_error_of_the_job_starts_no_dossier():
    with pytest.raises(JobError):
        Dossier.start(changed("seed", "seven"))


scalars = (st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
           | st.sampled_from(["dichloromethane", "water", "86-73-7", "must", "\ud800", "\x00"]))
values = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from(["name", "low", "high", "step", "choices", "x"]), inner,
                      max_size=3), max_leaves=6)
PLACES = [
    "title", "seed", "equipment", "factors", "sample", "analytes", "limits", "today",
    "equipment.vessels", "equipment.heating", "factors.set_temperature_c", "factors.keeper",
    "factors.end_pressure_mbar", "factors.end_volume_ml", "sample.solvents", "sample.keeper",
    "sample.solvents.0", "sample.solvents.0.name", "sample.solvents.0.volume_fraction",
    "sample.keeper.name", "sample.end_volume_ml", "analytes.0", "analytes.0.name",
    "analytes.0.cas", "analytes.1.vapour_pressure", "analytes.1.boiling_point",
    "analytes.1.smiles", "limits.trials", "sample.fill_volume_ml", "new",
]


@settings(max_examples=examples(250), deadline=None)
@given(place=st.sampled_from(PLACES), value=values)
def test_any_value_anywhere_is_taken_or_refused_in_words(place, value):
    try:
        job = parse(changed(place, value))
    except JobError:
        return
    assert parse(to_mapping(job)) == job
    assert parse(to_toml(job)) == job


@settings(max_examples=examples(150), deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_refused_in_words(text):
    with pytest.raises(JobError):
        parse(text + "\n")


def test_bounds_the_wrong_way_round_are_one_fault_and_not_a_fault_of_the_step_too():
    data = changed("factors.set_temperature_c", {"low": 60, "high": 25, "step": 1})
    assert set(faults(data)) == {"factors.set_temperature_c.low"}


def test_a_list_of_keepers_with_two_faults_is_told_of_both():
    found = faults(changed("factors.keeper", {"choices": ["water-ish", 3]}))
    assert "different keeper names" in found["factors.keeper.choices"]
    assert "Unknown substance" in found["factors.keeper.choices[0]"]


def test_what_is_to_be_kept_is_neither_keeper_nor_solvent():
    keeper = changed("sample.keeper", {"name": "n-dodecane", "volume_ml": 0.5})
    keeper["analytes"][0] |= {"name": "n-dodecane", "cas": "112-40-3"}
    assert "is also an analyte" in faults(keeper)["sample.keeper.name"]
    solvent = changed("sample.solvents", [{"name": "toluene", "volume_fraction": 1.0}])
    solvent["analytes"][0] |= {"name": "methylbenzene", "cas": "108-88-3"}
    assert "is also an analyte" in faults(solvent)["sample.solvents[0].name"]
