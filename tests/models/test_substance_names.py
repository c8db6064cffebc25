"""Names that are wrong, open or no names at all: one clear sentence, nothing chosen in silence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import ModelError, UnknownSubstance
from models.substance_names import registry_fault, spelled
from models.substances import find_substance, usual_substances


@pytest.mark.parametrize(("name", "says"), [
    ("91-20-4", "last digit would be 3"),
    ("123456-78-1", "wrong digit"),
    ("petroleum ether", "blend"),
    ("hexanes", "n-hexane"),
    ("C10H8", "formula"),
    ("toluidine", "isomers"),
    ("xylene", "isomers"),
    ("dichlorobenzene", "isomers"),
    ("iron", "does not evaporate"),
    ("sodium chloride", "does not evaporate"),
    ("nitrogen", "does not evaporate"),
    ("copper(II)", "does not evaporate"),
    ("lead", "does not evaporate"),
    ("glyphosate", "nothing of its volatility"),
    ("no such thing", "Unknown substance"),
    ("   ", "no name is given"),
    ("x" * 300, "Unknown substance"),
])
def test_what_is_wrong_is_said_in_one_sentence(name, says):
    with pytest.raises(UnknownSubstance) as caught:
        find_substance(name)
    assert says in caught.value.message
    assert caught.value.message.count(". ") == 0
    assert len(caught.value.message) < 120
    assert caught.value.cure


@pytest.mark.parametrize("name", ["lead", "Cd2+"])
def test_what_stays_in_the_vessel_needs_no_other_name(name):
    with pytest.raises(UnknownSubstance) as caught:
        find_substance(name)
    assert "stays in the vessel" in caught.value.cure
    assert "spelling" not in str(caught.value)


def test_isomers_are_offered():
    with pytest.raises(UnknownSubstance) as caught:
        find_substance("trichlorobenzene")
    assert "1,2,4-trichlorobenzene" in caught.value.matches


@pytest.mark.parametrize("name", ["testosterone", "furfuryl alcohol", "lindane", "anthracene"])
def test_names_that_are_one_substance_are_not_open(name):
    assert find_substance(name).name == name


def test_another_name_of_the_library_is_said():
    assert any("tetradecanoic acid" in w for w in find_substance("myristic acid").warnings)


def test_greek_letters_and_stray_blanks():
    assert find_substance(" α-pinene ").name == "alpha-pinene"
    assert spelled("β-ionone") == "beta-ionone"


def test_data_under_another_number_of_the_same_structure_are_read():
    """1,2-butanediol, 196.4 degC (CRC Handbook as packaged), listed under its racemate."""
    assert find_substance("26171-83-5").boiling_temperature == pytest.approx(469.57, abs=0.1)


def test_every_number_of_the_table_has_its_check_digit():
    assert [s.cas for s in usual_substances() if registry_fault(s.cas)] == []


@given(st.sampled_from([s.cas for s in usual_substances()]), st.integers(1, 9))
def test_any_other_last_digit_is_found(cas, step):
    wrong = f"{cas[:-1]}{(int(cas[-1]) + step) % 10}"
    assert f"would be {cas[-1]}" in registry_fault(wrong)


def answer(text):
    """What comes back for a text: a substance or the error that says why not."""
    try:
        return find_substance(text)
    except ModelError as error:
        return error


@pytest.mark.parametrize("name", ["S", "sulfur", "12035-51-7"])
def test_a_broken_table_of_the_libraries_is_passed_over(name):
    """Their heat capacity of sulfur has one temperature twice and cannot be interpolated."""
    found = answer(name)
    assert isinstance(found, ModelError) or found.molar_mass > 0


@given(st.text(max_size=40))
def test_any_text_gives_a_substance_or_a_sentence(text):
    found = answer(text)
    assert found.cure and found.message if isinstance(found, ModelError) else found.molar_mass > 0
