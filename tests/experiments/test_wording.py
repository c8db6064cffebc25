"""Probabilities in words: one rule for pages, report and command line."""

from __future__ import annotations

import re

import numpy as np
import pytest

from experiments.wording import as_asked, percent


@pytest.mark.parametrize(("probability", "text", "whole"), [
    (1.0, "above 99.9 %", "above 99 %"), (0.9999, "above 99.9 %", "above 99 %"),
    (0.999, "99.9 %", "above 99 %"), (0.953, "95.3 %", "95 %"), (0.9, "90 %", "90 %"),
    (0.5, "50 %", "50 %"), (0.07, "7 %", "7 %"), (0.004, "0.4 %", "below 1 %"),
    (1e-4, "below 0.1 %", "below 1 %"), (0.0, "below 0.1 %", "below 1 %"),
])
def test_probabilities_are_never_rounded_to_certainty(probability, text, whole):
    assert percent(probability) == text
    assert percent(probability, digits=0) == whole


@pytest.mark.parametrize("digits", [0, 1])
def test_no_probability_reads_as_an_assurance_that_it_misses(digits):
    """Assurances in whole per cents, which is what a job usually asks."""
    for asked in np.arange(50, 100) / 100.0:
        missed = re.fullmatch(r"([\d.]+) %", percent(asked - 1e-4, digits))
        assert missed is None or float(missed[1]) < 100.0 * asked - 1e-9
        assert percent(asked, digits) == f"{100.0 * asked:.0f} %" == as_asked(asked)


def test_higher_probabilities_never_read_lower():
    read = [float(percent(p).split()[0]) for p in np.linspace(0.001, 0.999, 4001)]
    assert read == sorted(read)
