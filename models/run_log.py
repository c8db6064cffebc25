"""What an evaporator's own instruments wrote down during a run, and the moments found in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from models.system import Array


@dataclass(frozen=True, eq=False)
class RunLog:
    """M moments of one run; a column that was not logged is None, a missing value nan.

    Attributes
    ----------
    time : [M] s from lid-close, never falling
    pressure : [M] Pa, of the chamber, absolute
    wall_temperature : [M] K, of the heated wall
    coolant_in, coolant_out : [M] K, of the condenser's coolant
    """

    time: Array
    pressure: Array
    wall_temperature: Array | None = None
    coolant_in: Array | None = None
    coolant_out: Array | None = None


class Mark(NamedTuple):
    """A moment of a run in s from lid-close, between ``low`` and ``high``; None: cannot tell.

    ``words`` say how it was found, or why it cannot be told.
    """

    time: float | None
    low: float | None
    high: float | None
    words: str


def cannot_tell(words: str) -> Mark:
    """A moment that the log does not show."""
    return Mark(None, None, None, words)


@dataclass(frozen=True)
class LogMarks:
    """What a log shows of its run.

    Attributes
    ----------
    evacuation : the pressure leaves that of the room
    boiling : the condenser begins to take up heat
    half, most : half and nine tenths of the run's heat have gone to the condenser
    end_pressure : the chamber is at its end pressure and stays there
    end_point : the load is back at its share of the peak and stays there, at end pressure
    stop : the chamber is vented, or the run is over by its end-point hold
    lulls : s, from and to, when the load had gone and came back
    findings : what the reader should know
    """

    evacuation: Mark
    boiling: Mark
    half: Mark
    most: Mark
    end_pressure: Mark
    end_point: Mark
    stop: Mark
    lulls: tuple[tuple[float, float], ...]
    findings: tuple[str, ...]

    @property
    def run_time(self) -> Mark:
        """From lid-close to stop, which is what a trial's run time means."""
        return self.stop
