"""The operating region of a method: where every target is met at the stated assurance.

Words follow ICH Q14 (step 4, 1 November 2023; wording from memory, check your edition): a
method operable design region is the joint, multivariate region; a proven acceptable range
is the range of one parameter while the others stay at the set point. A box of ranges that
hold together can be inscribed in the region but is only a part of it.

Coded coordinates run over the window of a factor, logarithmic for pressures and ramp rate.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from experiments.entries import EntryError
from experiments.factor_space import coded, decoded, numeric_factors, tolerances
from experiments.forecaster import Forecaster, JointForecaster
from experiments.job import DEFAULT_STEP, EvaporationJob, Factor, Setting
from experiments.progress import Progress, unwatched
from experiments.region_lattice import Lattice, Slice, factor_axis
from experiments.wording import as_asked
from models.system import Array

SHARPENING = 3
"""Halvings that place an edge between the last point inside and the first one outside."""
SHARPENING_ALONE = 5
"""The same for the range of one factor alone."""
TRIED_INSIDE = 64
"""Settings tried inside the box, besides its corners."""
PART = 40
"""Nodes worked out between two reports of progress."""


@dataclass(frozen=True)
class Range:
    """Range of one factor in its unit; ``open_low``/``open_high`` where the window ends it."""

    factor: str
    low: float
    high: float
    open_low: bool
    open_high: bool


@dataclass(frozen=True, eq=False)
class Region:
    """The operating region around a set point.

    ``share`` of the window that lies inside (coded); ``together`` the probability that the
    targets hold everywhere in the box at once (None without joint draws); ``checked`` and
    ``lowest`` the settings tried inside the box and the least probability among them.
    """

    setting: Setting
    assurance: float
    probability: float
    box: tuple[Range, ...]
    proven: tuple[Range, ...]
    slices: tuple[Slice, ...]
    share: float
    lowest: float
    checked: int
    together: float | None
    tolerance_inside: bool


def why_no_region(forecaster: Forecaster, setting: Setting) -> str:
    """Why there is no operating region around a set point; empty where there is one."""
    return _why_none(forecaster.job, float(forecaster.probability([setting])[0]))


def _why_none(job: EvaporationJob, own: float) -> str:
    """The same from the set point's own probability."""
    if not numeric_factors(job):
        return "No factor that has a range is left free, so there is no operating region to map."
    if own < job.limits.assurance:
        return (f"The setting reaches {100.0 * own:.3g} %, less than the asked "
                f"{as_asked(job.limits.assurance)}: there is no operating region around it.")
    return ""


def operating_region(
    forecaster: Forecaster, setting: Setting, progress: Progress | None = None
) -> Region:
    """Map the region around a set point.

    Parameters
    ----------
    forecaster : the fitted job
    setting : the set point; it must itself reach the assurance
    progress : called with the share done; may raise to cancel

    Raises
    ------
    EntryError
        when there is no region around the set point (:func:`why_no_region`)
    """
    job = forecaster.job
    asked = job.limits.assurance
    own = float(forecaster.probability([setting])[0])
    reason = _why_none(job, own)
    if reason:
        raise EntryError(reason, "Record more trials or change the job.")
    report = progress if progress is not None else unwatched
    lattice = Lattice(job, setting)
    probability = _mapped(forecaster, lattice, report)
    inside = probability >= asked
    report(0.6, "fitting the largest box")
    box = lattice.largest_box(inside)
    ranges = _sharpen(forecaster, lattice, box, setting)
    report(0.7, "ranging one factor at a time")
    proven = tuple(_proven_range(forecaster, f, setting) for f in lattice.factors)
    report(0.8, "checking the box")
    ranges = tuple(map(_within, ranges, proven))
    ranges, lowest, tried = _checked(forecaster, lattice, ranges, setting)
    report(0.9, "drawing slices")
    slices = tuple(
        lattice.slice_at(probability, a, b)
        for a, b in itertools.combinations(range(len(lattice.factors)), 2)
    )
    return Region(
        dict(setting), asked, own, ranges, proven, slices, lattice.share(inside), lowest,
        len(tried), _together(forecaster, [setting, *tried]),
        _holds_tolerance(job, ranges, setting),
    )


# -- inside ------------------------------------------------------------------------------


def _mapped(forecaster: Forecaster, lattice: Lattice, report: Progress) -> Array:
    """Probability at every node, part by part, so that it can be followed and stopped."""
    settings, found = lattice.settings(), []
    for start in range(0, len(settings), PART):
        report(0.05 + 0.55 * start / len(settings), "mapping the operating region")
        found.append(forecaster.probability(settings[start : start + PART]))
    return np.concatenate(found).reshape(lattice.shape)


def _sharpen(
    forecaster: Forecaster, lattice: Lattice, box: Sequence[tuple[int, int]], setting: Setting
) -> tuple[Range, ...]:
    """Move each face outwards between its node and the next, corners of the face deciding."""
    limits = [[float(a[i]), float(a[j])] for a, (i, j) in zip(lattice.axes, box, strict=True)]
    for d, factor in enumerate(lattice.factors):
        for side in (0, 1):
            beyond = box[d][side] + (1 if side else -1)
            if not 0 <= beyond < len(lattice.axes[d]):
                continue

            def face(value: float, d: int = d) -> list[Setting]:
                faces = [[*pair] for pair in limits]
                faces[d] = [value] * 2
                return [lattice.at(c) for c in itertools.product(*map(set, faces))]

            limits[d][side] = last_that_holds(
                forecaster, factor, coded(factor, limits[d][side]), lattice.places[d][beyond],
                face, SHARPENING)
    return tuple(
        _range(f, low, high, float(setting[f.name]))
        for f, (low, high) in zip(lattice.factors, limits, strict=True)
    )


def _range(factor: Factor, low: float, high: float, centre: float) -> Range:
    """A range rounded inwards to a degree, a millibar and so on."""
    step = DEFAULT_STEP.get(factor.name, factor.resolution)
    if step > 0.0:
        low = min(math.ceil(low / step - 1e-9) * step, centre)
        high = max(math.floor(high / step + 1e-9) * step, centre)
    low, high = max(low, factor.low), min(high, factor.high)
    return Range(factor.name, round(low, 9), round(high, 9),
                 low <= factor.low + 1e-9, high >= factor.high - 1e-9)


def _within(found: Range, alone: Range) -> Range:
    """A side of the box, no longer than what its factor was found to keep alone."""
    return Range(found.factor, max(found.low, alone.low), min(found.high, alone.high),
                 found.open_low and alone.open_low, found.open_high and alone.open_high)


def _checked(
    forecaster: Forecaster, lattice: Lattice, ranges: tuple[Range, ...], setting: Setting
) -> tuple[tuple[Range, ...], float, list[Setting]]:
    """Try settings inside the box; draw it in towards the set point while one falls short.

    Gives the box, the least probability among the settings tried in it, and these settings.
    """
    asked = forecaster.job.limits.assurance
    tried = _settings_inside(lattice, ranges, forecaster.job.seed)
    lowest = float(forecaster.probability(tried).min())
    held = tolerances(forecaster.job)
    for tries in range(16):
        if lowest >= asked:
            break
        ranges = tuple(
            _drawn_in(f, r, float(setting[f.name]), held.get(f.name, 0.0) if tries < 9 else 0.0)
            for f, r in zip(lattice.factors, ranges, strict=True)
        )
        tried = _settings_inside(lattice, ranges, forecaster.job.seed)
        lowest = float(forecaster.probability(tried).min())
    return ranges, lowest, tried


def _drawn_in(factor: Factor, found: Range, centre: float, held: float) -> Range:
    """The range a fifth nearer to the set point, but not within what the equipment holds."""
    low = min(found.low + 0.2 * (centre - found.low), max(centre - held, found.low))
    high = max(found.high + 0.2 * (centre - found.high), min(centre + held, found.high))
    return _range(factor, low, high, centre)


def _settings_inside(
    lattice: Lattice, ranges: Sequence[Range], seed: int
) -> list[Setting]:
    """Corners, and settings drawn evenly (coded) inside the box."""
    rng = np.random.default_rng([seed, 71])
    corners = list(itertools.product(*[{r.low, r.high} for r in ranges]))
    ends = [
        (coded(f, r.low), coded(f, r.high))
        for f, r in zip(lattice.factors, ranges, strict=True)
    ]
    drawn = [
        [decoded(f, rng.uniform(*pair)) for f, pair in zip(lattice.factors, ends, strict=True)]
        for _ in range(TRIED_INSIDE)
    ]
    return [lattice.at(values) for values in (*corners, *drawn)]


def _proven_range(forecaster: Forecaster, factor: Factor, setting: Setting) -> Range:
    """The range of one factor that keeps the assurance while the others stay."""
    held = tolerances(forecaster.job).get(factor.name, 0.0)
    values = factor_axis(factor, setting, 25, held)
    line: list[Setting] = [{**setting, factor.name: float(v)} for v in values]
    good = forecaster.probability(line) >= forecaster.job.limits.assurance
    centre = int(np.argmin(np.abs(values - float(setting[factor.name]))))
    ends = []
    for way in (-1, 1):
        end = centre
        while 0 <= end + way < len(values) and good[end + way]:
            end += way
        inside = float(values[end])
        if 0 <= end + way < len(values):
            beyond = coded(factor, float(values[end + way]))
            inside = last_that_holds(
                forecaster, factor, coded(factor, inside), beyond,
                lambda v: [{**setting, factor.name: v}], SHARPENING_ALONE)
        ends.append(inside)
    return _range(factor, ends[0], ends[1], float(setting[factor.name]))


def last_that_holds(
    forecaster: Forecaster, factor: Factor, good: float, bad: float,
    tried: Callable[[float], list[Setting]], halvings: int,
) -> float:
    """The last value of a factor at which all settings tried hold.

    It lies between ``good``, the coded place of a value that holds, and ``bad``.
    """
    for _ in range(halvings):
        middle = 0.5 * (good + bad)
        chance = forecaster.probability(tried(decoded(factor, middle))).min()
        good, bad = (middle, bad) if chance >= forecaster.job.limits.assurance else (good, middle)
    return decoded(factor, good)


def _together(forecaster: Forecaster, tried: Sequence[Setting]) -> float | None:
    """Probability that the targets hold at every one of these settings at once."""
    if not isinstance(forecaster, JointForecaster):
        return None
    chances = np.array([forecaster.success(p) for p in forecaster.points(tried)])
    return float(chances.min(axis=0).mean())


def _holds_tolerance(job: EvaporationJob, ranges: Sequence[Range], setting: Setting) -> bool:
    """Whether what the equipment holds around the set point stays inside the box."""
    held = tolerances(job)
    return all(
        (r.open_low or r.low <= float(setting[r.factor]) - held[r.factor] + 1e-9)
        and (r.open_high or r.high >= float(setting[r.factor]) + held[r.factor] - 1e-9)
        for r in ranges if r.factor in held
    )
