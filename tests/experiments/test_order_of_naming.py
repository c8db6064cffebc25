"""In which order a job names its analytes and a run its vessels changes no answer."""

from __future__ import annotations

import copy

import pytest

from experiments.dossier import Dossier

RUNS = [((45, 50, 40), 41.5, [88.0, 90.5, 86.0, 91.0], [60.0, 64.0, 58.0, 66.0]),
        ((45, 50, 40), 42.0, [84.0, 89.5, 87.0, 85.0], [55.0, 61.0, 57.0, 63.0]),
        ((55, 80, 60), 33.0, [80.0, 83.5, 79.0, 84.0], [44.0, 49.0, 41.0, 46.0])]
FACTORS = ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar")
ASKED = [{"set_temperature_c": 50, "ramp_rate_mbar_per_min": 60, "end_pressure_mbar": 50},
         {"set_temperature_c": 40, "ramp_rate_mbar_per_min": 20, "end_pressure_mbar": 90}]


def learnt(job, vessels=(0, 1, 2, 3)):
    dossier = Dossier.start(job)
    for setting, time, first, second in RUNS:
        dossier.record(setting=dict(zip(FACTORS, setting, strict=True)), run_time_min=time,
                       recovery_percent={"diethyl phthalate": [first[v] for v in vessels],
                                         "1,2-dichlorobenzene": [second[v] for v in vessels]})
    return dossier


@pytest.mark.slow
def test_the_order_of_analytes_and_vessels_plays_no_part(job_mapping):
    turned = copy.deepcopy(job_mapping)
    turned["analytes"].reverse()
    usual = learnt(job_mapping)
    for other in (learnt(turned), learnt(job_mapping, vessels=(3, 0, 2, 1))):
        for one, two in zip(usual.forecast(ASKED), other.forecast(ASKED), strict=True):
            assert one.probability == pytest.approx(two.probability, abs=1e-6)
            for name, found in one.recovery_percent.items():
                assert found.mean == pytest.approx(two.recovery_percent[name].mean, rel=1e-6)
        assert [t.setting for t in usual.propose(2)] == [t.setting for t in other.propose(2)]
        usual = learnt(job_mapping)
