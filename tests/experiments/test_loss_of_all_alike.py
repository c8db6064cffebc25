"""What is lost of every analyte alike is a loss, however many analytes show it.

Bad luck of a run is common to its analytes, too. If a loss could only be that, nine runs that
all give back 92 % would pass for nine runs with bad luck, and the more surely so the more
analytes there are. The laboratory is invented: ten analytes too heavy to be lost by boiling,
with the scatter between and within runs that is usual at that level.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from experiments import Dossier
from experiments.job import Analyte
from experiments.job_file import parse

EXAMPLE = Path(__file__).parents[2] / "examples" / "semivolatiles_to_dryness.toml"
HEAVY = (
    "fluoranthene", "pyrene", "benz[a]anthracene", "chrysene", "benzo[b]fluoranthene",
    "benzo[k]fluoranthene", "benzo[a]pyrene", "bis(2-ethylhexyl) phthalate",
    "benzyl butyl phthalate", "dibenz[a,h]anthracene",
)
SETTINGS = tuple(
    {"set_temperature_c": t, "ramp_rate_mbar_per_min": r, "end_pressure_mbar": p}
    for t, r, p in ((35, 15, 200), (50, 150, 150), (42, 50, 110), (45, 80, 150), (50, 100, 130),
                    (40, 60, 150), (47, 120, 140), (52, 80, 170), (38, 40, 160))
)
ELSEWHERE = {"set_temperature_c": 47, "ramp_rate_mbar_per_min": 90, "end_pressure_mbar": 150}
RUN, COMMON, VESSEL, TIME = 0.04, 0.8, 0.03, 0.06
TARGET = 95.0


def after_runs(true_recovery: float, seed: int, common: float = COMMON) -> Dossier:
    """Nine runs on three days that truly give back so many percent of everything."""
    rng = np.random.default_rng(seed)
    job = parse(EXAMPLE)
    made = Dossier.start(replace(job, analytes=tuple(Analyte(h, TARGET) for h in HEAVY),
                                 today=None))
    minutes = [f.run_time_min.mean for f in made.forecast(SETTINGS)]
    for i, (setting, usual) in enumerate(zip(SETTINGS, minutes, strict=True)):
        effect = RUN * (np.sqrt(common) * rng.standard_normal()
                        + np.sqrt(1.0 - common) * rng.standard_normal(len(HEAVY)))
        scatter = VESSEL * rng.standard_normal((job.equipment.vessels, len(HEAVY)))
        readings = np.round(true_recovery * np.exp(effect + scatter), 1)
        made.record(setting=setting, run_time_min=usual * np.exp(TIME * rng.standard_normal()),
                    recovery_percent=dict(zip(HEAVY, readings.T.tolist(), strict=True)),
                    day=f"2025-03-{3 + i // 3:02d}")
    return made


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_a_loss_of_every_analyte_does_not_pass_for_bad_luck(seed: int) -> None:
    (found,) = after_runs(92.0, seed).forecast([ELSEWHERE])
    held = [r.low <= 92.0 <= r.high for r in found.recovery_percent.values()]
    assert np.mean(held) >= 0.8
    assert found.probability < 0.05


@pytest.mark.slow
def test_where_nothing_is_lost_the_same_runs_say_so() -> None:
    (found,) = after_runs(99.0, seed=1).forecast([ELSEWHERE])
    assert min(r.mean for r in found.recovery_percent.values()) > 97.0
    assert found.probability > 0.8


@pytest.mark.slow
def test_luck_that_all_analytes_share_counts_for_one_however_many_they_are() -> None:
    """The same scatter of runs, once of each analyte alone and once of all together."""
    alone, together = (after_runs(97.0, seed=4, common=share) for share in (0.05, 0.95))
    learnt = [float(d.fitted().surrogate.scales_.common.mean()) for d in (alone, together)]
    assert learnt[0] < 0.35 < 0.65 < learnt[1]
