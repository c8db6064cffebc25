"""Moments found in logs of an independent solution of the run, and in logs that tell nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from random_jobs import job
from simulated_log import Instruments, WatchedRun, written_down

from models.log_marks import AsSet, find_marks
from models.parameters import INDEX
from models.run_log import RunLog
from models.run_model import simulate

LAG_S = 45.0
"""What flow, readings and smoothing may add to the range of a moment."""
ROOM, HELD, PEAK = 101325.0, 6000.0, 4.0
AS_SET = AsSet(180.0, 0.10, HELD, 200.0, 318.15, 1.0)


def solved(seed: int) -> tuple[WatchedRun, float, AsSet]:
    made = job(seed)
    made.setting[6] = 180.0
    z = made.z.copy()
    z[INDEX["end_sensitivity"]] = 0.0
    run = WatchedRun(made.system, made.equipment, made.load, made.setting, z)
    stop = run.solve(1e-5).run_time
    return run, stop, AsSet(180.0, made.equipment.end_point_load_fraction, run.end, 200.0,
                            run.wall, 1.0)


@cache
def runs() -> list[tuple[WatchedRun, float, AsSet]]:
    """Runs that start to boil after the evacuation began and come to their end."""
    found = [solved(seed) for seed in range(16)]
    return [(r, stop, s) for r, stop, s in found if np.isfinite(stop) and r.boiled is not None
            and r.boiled > r.p["start_delay"]]


def heat_gone(run: WatchedRun) -> list[float]:
    t, _, load = np.array(run.seen).T
    order = np.argsort(t, kind="stable")
    t, load = t[order], load[order]
    gone = np.concatenate([[0.0], np.cumsum(0.5 * (load[1:] + load[:-1]) * np.diff(t))])
    return [float(np.interp(share * gone[-1], gone, t)) for share in (0.5, 0.9)]


def holds(mark, truth: float, slack: float) -> bool:
    return mark.time is not None and mark.low - slack <= truth <= mark.high + slack


@pytest.mark.slow
@pytest.mark.parametrize("how", [
    Instruments(), Instruments(every=1.0, noise=0.05), Instruments(every=20.0, digit=0.1)],
    ids=["usual", "every second, noisy", "every twenty seconds, coarse"])
def test_marks_hold_the_moments_of_an_independent_solution(how: Instruments) -> None:
    rng = np.random.default_rng(3)
    assert len(runs()) >= 12
    told = {"boiling": 0, "half": 0, "most": 0, "end_point": 0}
    for run, stop, as_set in runs():
        marks = find_marks(written_down(run, stop, how, rng), as_set)
        slack = LAG_S + how.every
        assert holds(marks.evacuation, run.p["start_delay"], how.every + 5.0)
        assert holds(marks.stop, stop, how.every)
        assert marks.run_time == marks.stop
        half, most = heat_gone(run)
        for name, truth in (("boiling", run.boiled), ("half", half), ("most", most),
                            ("end_point", stop - run.hold)):
            mark = getattr(marks, name)
            assert mark.time is not None or mark.words
            if mark.time is not None:
                told[name] += 1
                share = 0.04 if name in ("half", "most") else 0.0  # drift, rest of load
                assert holds(mark, truth, slack + share * stop), (name, truth, mark)
    assert told["boiling"] >= 0.8 * len(runs())
    assert told["end_point"] >= 0.5 * len(runs())


def test_the_run_model_makes_vapour_when_the_independent_solution_does() -> None:
    """Start of boiling; half and nine tenths of the solvents gone, a keeper and a second solvent
    too."""
    for seed, solvents, keeper in ((1, 1, False), (3, 1, False), (8, 1, True), (9, 2, False)):
        made = job(seed, solvents, keeper)
        run = WatchedRun(made.system, made.equipment, made.load, made.setting, made.z)
        run.solve(1e-6)
        found = simulate(made.system, made.equipment, made.load, made.setting, made.z)
        t, gone = np.array(run.gone).T
        gone = np.maximum.accumulate(gone)
        later = [np.interp(share, gone, t) if gone[-1] >= share else np.inf
                 for share in (0.5, 0.9)]
        assert found.vapour_time[0] == pytest.approx([run.boiled, *later], rel=0.01, abs=2.0)


def test_a_run_that_never_boils_has_no_start_of_boiling() -> None:
    made = job(3)
    setting = made.setting.copy()
    setting[0], setting[2] = 300.0, 9e4
    found = simulate(made.system, made.equipment, made.load, setting, made.z)
    assert np.isinf(found.vapour_time[0]).all()


# -- logs made by hand -----------------------------------------------------------------


def log(shape=None, seconds: int = 3000, every: int = 5, vent: float | None = 2700.0,
        noise: float = 0.02, seed: int = 1) -> RunLog:
    """Evacuated from 120 s to 6 kPa at 600 s; load between 0 and 1 by ``shape``."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, seconds, every)
    p = np.interp(t, [0, 120, 180, 600], [ROOM, ROOM, 6e4, HELD])
    if vent is not None:
        p[t > vent] = ROOM
    load = np.interp(t, *(shape or ([0, 300, 420, 1800, 1900], [0, 0, 1, 0.8, 0])))
    cold = 263.15 + noise * rng.standard_normal(len(t))
    warm = 263.45 + PEAK * load + noise * rng.standard_normal(len(t))
    return RunLog(t, p, np.full(len(t), 318.15), cold, warm)


def test_a_plain_run_is_read_to_the_second() -> None:
    marks = find_marks(log(), AS_SET)
    assert marks.boiling.time == pytest.approx(308, abs=12)
    assert marks.end_point.time == pytest.approx(1888, abs=12)
    assert marks.stop.time == pytest.approx(2702, abs=3)
    assert marks.lulls == ()
    assert marks.findings == ()


def test_a_lull_between_two_solvents_is_no_end() -> None:
    two = ([0, 300, 420, 900, 960, 1200, 1320, 2000, 2060], [0, 0, 1, 0.8, 0, 0, 0.6, 0.5, 0])
    marks = find_marks(log(two), AS_SET)
    assert marks.end_point.time == pytest.approx(2048, abs=15)
    assert marks.lulls == ((pytest.approx(955, abs=15), pytest.approx(1215, abs=25)),)
    assert "lull" in marks.findings[0]


def test_a_load_that_is_gone_before_the_end_pressure_counts_from_there() -> None:
    early = ([0, 200, 260, 400, 440], [0, 0, 1, 0.8, 0])
    marks = find_marks(log(early), AS_SET)
    assert marks.end_point.time == pytest.approx(590, abs=20)


@pytest.mark.parametrize(("change", "said"), [
    (lambda g: replace(g, coolant_out=None), "Without the coolant"),
    (lambda g: replace(g, coolant_out=g.coolant_in + 0.2), "does not stand out enough"),
    (lambda g: replace(g, pressure=np.where(g.time > 900, HELD + 4e3, g.pressure)),
     "does not reach its end pressure"),
])
def test_what_the_log_does_not_show_is_not_guessed(change, said) -> None:
    marks = find_marks(change(log(vent=None)), AS_SET)
    assert marks.end_point.time is None
    assert said in marks.end_point.words
    assert marks.stop.time is None


def test_a_log_that_ends_early_does_not_tell_the_end() -> None:
    for seconds, said in ((1500, "of its highest value"), (1950, "end-point hold is 3.0 min")):
        marks = find_marks(log(seconds=seconds, vent=None), AS_SET)
        assert marks.end_point.time is None
        assert said in marks.end_point.words
        assert marks.boiling.time is not None


def test_without_venting_the_run_ends_with_its_hold() -> None:
    marks = find_marks(log(seconds=2600, vent=None), AS_SET)
    assert marks.stop.time == pytest.approx(marks.end_point.time + 180.0)


def test_a_log_that_begins_under_vacuum_or_in_the_run_says_so() -> None:
    whole = log()
    late = RunLog(*(column[60:] for column in vars(whole).values()))
    marks = find_marks(late, AS_SET)
    assert "begins under vacuum" in marks.evacuation.words
    assert marks.boiling.time is None


def test_two_runs_in_one_log_are_refused() -> None:
    one = log()
    two = RunLog(np.append(one.time, one.time + 3000.0), *(
        np.append(column, column) for name, column in vars(one).items() if name != "time"))
    assert "holds 2 runs" in find_marks(two, AS_SET).stop.words


def test_wild_and_missing_readings_decide_nothing() -> None:
    plain, marred = log(), log()
    rng = np.random.default_rng(5)
    wild = rng.choice(np.arange(10, 500), 12, replace=False)
    marred.coolant_out[wild] += rng.choice([-30.0, 30.0], 12)
    marred.coolant_in[rng.choice(np.arange(10, 500), 30, replace=False)] = np.nan
    marred.pressure[rng.choice(np.arange(150, 500), 30, replace=False)] = np.nan
    first, second = find_marks(plain, AS_SET), find_marks(marred, AS_SET)
    for name in ("boiling", "end_point", "stop"):
        assert getattr(second, name).time == pytest.approx(getattr(first, name).time, abs=15)


def test_a_wall_away_from_its_set_temperature_is_said() -> None:
    warm = replace(log(), wall_temperature=np.full(600, 321.0))
    assert "47.9 degC while 45.0 degC" in find_marks(warm, AS_SET).findings[0]


def test_a_long_wait_at_room_pressure_asks_for_lid_close() -> None:
    waited = log()
    waited = RunLog(
        np.append(np.arange(0.0, 900.0, 5.0), waited.time + 900.0),
        *(np.append(np.full(180, column[0]), column)
          for name, column in vars(waited).items() if name != "time"))
    assert any("lid-close" in f for f in find_marks(waited, AS_SET).findings)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.6, 0.9])
@pytest.mark.parametrize("drift", [-0.3, 0.0, 0.3])
def test_an_end_point_set_high_on_the_load_is_found_too(share: float, drift: float) -> None:
    """The job file allows up to nine tenths of the peak."""
    t = np.arange(0.0, 3600.0, 5.0)
    chamber = np.where(t < 60, ROOM, np.maximum(ROOM * np.exp(-(t - 60) / 80.0), HELD))
    load = PEAK * np.clip((t - 300) / 300, 0, 1) * np.clip((2400 - t) / 900, 0, 1)
    warm = load + drift * t / t[-1] + 0.02 * np.random.default_rng(0).standard_normal(len(t))
    mark = find_marks(RunLog(t, chamber, None, np.zeros_like(t), warm),
                      AS_SET._replace(end_share=share)).end_point
    assert mark.time is not None
    assert mark.low <= mark.time <= mark.high
    assert mark.time == pytest.approx(2400 - 900 * share, abs=60 + 900 * abs(drift) / PEAK)
