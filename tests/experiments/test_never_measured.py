"""An analyte that decides and that no run has measured stands against a recommendation."""

from __future__ import annotations

from typing import Any

import pytest

from experiments.dossier import Dossier

SAID = "no run has measured diethyl phthalate: "


@pytest.fixture
def bench(job_mapping: dict[str, Any], setting: dict[str, float]) -> Dossier:
    """Ten runs of which only the watched analyte was measured."""
    dossier = Dossier.start(job_mapping, dossier_id="half")
    for i in [*range(5)] * 2:
        dossier.record(setting={**setting, "set_temperature_c": 35.0 + 5.0 * i},
                       run_time_min=40.0 - 3.0 * i,
                       recovery_percent={"1,2-dichlorobenzene": [60.0] * 4})
    return dossier


def test_nothing_is_recommended_until_one_run_has_measured_it(bench: Dossier) -> None:
    answer = bench.recommend()
    assert answer.status == "more trials needed"
    assert answer.probability >= 0.95
    assert SAID in answer.reason
    bench.correct("T1", "standard", recovery_percent={"diethyl phthalate": [95.0] * 4},
                  corrected=True)
    assert SAID in bench.recommend().reason
    bench.correct("T2", "found later", recovery_percent={"diethyl phthalate": "<50"})
    assert SAID not in bench.recommend().reason
