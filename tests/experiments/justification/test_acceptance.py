"""Criteria of published guidance, and criteria that cannot be."""

from __future__ import annotations

import pytest

from experiments.acceptance import (
    GUIDANCE,
    criteria_from_guidance,
    criteria_payload,
    default_criteria,
    find_guidance,
    read_criteria,
)
from experiments.entries import EntryError

PPB = 1.0  # ug/kg
AOAC_LEVELS = [1e9, 1e8, 1e7, 1e6, 1e5, 1e4, 1e3, 1e2, 1e1, 1.0]
AOAC_RECOVERY = [(98, 102), (98, 102), (97, 103), (95, 105), (90, 107), (80, 110), (80, 110),
                 (80, 110), (60, 115), (40, 120)]
AOAC_RSD = [1.3, 1.9, 2.7, 3.7, 5.3, 7.3, 11, 15, 21, 30]


@pytest.mark.parametrize(
    ("level", "recovery", "rsd"), list(zip(AOAC_LEVELS, AOAC_RECOVERY, AOAC_RSD, strict=True))
)
def test_aoac(level, recovery, rsd):
    """AOAC Appendix F (2012) p. 9, tables A5 and A4 (grade A)."""
    band = find_guidance("aoac").band(level)
    assert (band.low, band.high, band.rsd_max) == (*recovery, rsd)


def test_between_two_levels_the_stricter_holds():
    """100 ppm asks 90-107 %, 10 ppm asks 80-110 %: 30 ppm is held to the former."""
    assert find_guidance("aoac").band(3e4).low == 90


@pytest.mark.parametrize(
    ("level", "band"), [(0.5, (50, 120)), (1.0, (50, 120)), (5.0, (70, 120)), (10.0, (80, 120)),
                        (500.0, (80, 120))]
)
def test_eu_trueness(level, band):
    """Regulation (EU) 2021/808 annex I 1.2.2.1 (grade A): -50, -30, -20 to +20 %."""
    found = find_guidance("eu-2021-808").band(level)
    assert (found.low, found.high) == band


@pytest.mark.parametrize(
    ("key", "level", "expected"),
    [
        ("sante", None, (70, 120, 20)),  # SANTE/11312/2021 (grade B)
        ("codex-residues", 0.8, (50, 120, 35)),  # CAC/GL 40 (grade D, high)
        ("codex-residues", 5.0, (60, 120, 30)),
        ("codex-residues", 50.0, (70, 120, 20)),
        ("codex-residues", 500.0, (70, 110, 15)),
        ("codex-residues", 5000.0, (70, 110, 10)),
        ("codex-pah", None, (80, 110, 10)),  # Codex Stan 234 p. 46 (grade A)
        ("codex-organochlorines", None, (70, 130, 20)),  # the same page (grade A)
        ("epa-8000d", None, (70, 130, None)),  # SW-846 8000D (grade D, medium)
        ("epa-525-3", None, (70, 130, 20)),  # EPA 525.3 (grade D, high)
    ],
)
def test_presets(key, level, expected):
    band = find_guidance(key).band(level)
    assert (band.low, band.high, band.rsd_max) == expected


def test_what_was_not_read_in_the_original_says_so():
    seen = {"aoac", "eu-2021-808", "codex-pah", "codex-organochlorines"}
    for guidance in GUIDANCE:
        assert guidance.seen == (guidance.key in seen)
        assert ("check your edition" in guidance.citation) != guidance.seen
        assert guidance.edition
        assert guidance.clause


def test_ich_sets_no_number(job):
    """ICH Q2(R2) leaves the limit to the applicant (grade D, high)."""
    with pytest.raises(EntryError, match="sets no numeric limit"):
        criteria_from_guidance(job, "ich-q2")


def test_guidance_never_lowers_the_target_of_the_step(job):
    criteria = criteria_from_guidance(job, "sante")
    assert [a.target for a in criteria.analytes] == [80, 85, 40]
    assert {a.mean_low for a in criteria.analytes} == {70}
    assert "check your edition" in criteria.source


def test_scatter_is_ten_percent_unless_the_user_says_otherwise(job):
    assert {a.rsd_max for a in default_criteria(job).analytes} == {10.0}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"runs": 2}, "no verification"),
        ({"days": 2}, "no verification"),
        ({"days": 7}, "no verification"),
        ({"confidence": 1.0}, "not possible"),
    ],
)
def test_impossible_criteria_are_refused_with_a_cure(job, changes, words):
    with pytest.raises(EntryError, match=words) as caught:
        default_criteria(job, **changes)
    assert caught.value.cure


def test_an_action_limit_lies_below_the_target(job):
    data = criteria_payload(default_criteria(job))
    data["analytes"][0]["action_limit"] = 90.0
    with pytest.raises(EntryError, match="not below its target"):
        read_criteria(data)


def test_criteria_survive_the_record(job):
    criteria = default_criteria(job, runs=8, days=4)
    assert read_criteria(criteria_payload(criteria)) == criteria


@pytest.mark.parametrize("key", ["aoac", "nowhere"])
def test_a_level_or_key_that_is_missing_is_asked_for(job, key):
    with pytest.raises(EntryError) as caught:
        criteria_from_guidance(job, key)
    assert caught.value.cure
