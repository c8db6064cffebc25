"""How a run ended, and what an analyst should know about it.

A false end is a stop by the load rule with liquid left, or a run that goes on although
nothing boils: a frozen sample, residual water, the lull between two solvents, liquid that
does not boil at the end pressure, vapour that passes the condenser.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models import kernel_space as kernel
from models.equipment import Equipment, Load
from models.errors import Finding
from models.kernel_data import Modes
from models.kernel_run import LEFT_SHARE
from models.kernel_space import BOILING, DRY, STILL
from models.mixture import breakthrough_pressure
from models.quantities import celsius, mbar
from models.system import Array, LiquidSystem

ALMOST_ALL = 0.98
"""Share of the solvents above which hardly any of them has gone."""
NEARLY_THERE = 1.05
"""Pressure relative to the end pressure above which a run has not come down to it."""


@dataclass(frozen=True)
class Stop:
    """How a run ended; SI units.

    ``stopped`` by its end point (true or false) rather than at the time limit; ``finished``
    with dry vessels, down to the keeper or at the end volume; ``pressure`` is that at the stop.
    """

    time: float
    finished: bool
    stopped: bool
    false_end: bool
    frozen: bool
    breakthrough: bool
    boil_over_index: float
    peak_load: float
    peak_temperature: float
    set_temperature: float
    end_pressure: float
    pressure: float
    boiling: bool
    still: bool
    dry: bool

    @classmethod
    def from_kernel(cls, now: Array, setting: Array, mode: Modes, pressure: float) -> Stop:
        """Read the last ``now`` of the kernel for a setting, the last modes [3] and pressure."""
        stopped, false_end = bool(now[kernel.STOPPED] > 0.5), bool(now[kernel.FALSE_END] > 0.5)
        return cls(
            time=float(now[kernel.TIME]),
            finished=stopped and not false_end,
            stopped=stopped,
            false_end=false_end,
            frozen=bool(now[kernel.FROZE] > 0.5),
            breakthrough=bool(now[kernel.THROUGH] > 0.5),
            boil_over_index=float(now[kernel.INDEX]),
            peak_load=float(now[kernel.PEAK]),
            peak_temperature=float(now[kernel.WARMEST]),
            set_temperature=float(setting[0]),
            end_pressure=float(setting[2]),
            pressure=pressure,
            boiling=bool((mode == BOILING).any()),
            still=bool((mode == STILL).any()),
            dry=bool((mode == DRY).all()),
        )


def describe(
    stop: Stop, system: LiquidSystem, equipment: Equipment, load: Load, moles: Array
) -> tuple[Finding, ...]:
    """Findings of a run.

    Parameters
    ----------
    stop : how it ended
    system, equipment, load : what was run
    moles : [2, 3, S], at the start and at the end
    """
    found = []
    if stop.frozen and stop.finished:
        found.append(Finding(
            "frozen", "caution",
            f"Near its end, at {mbar(stop.end_pressure):.3g} mbar, what is left freezes: some "
            "solvent may stay in it as ice, which the condenser load does not show.",
            "Stop the ramp above the freezing line, or let it thaw and look.",
        ))
    elif stop.frozen:
        found.append(Finding(
            "frozen", "stop",
            f"The sample freezes before the end pressure of {mbar(stop.end_pressure):.3g} mbar: "
            "the condenser load falls and the run looks finished, but ice is left.",
            "Stop the ramp above the freezing line.",
        ))
    elif stop.breakthrough:
        found.append(_breakthrough(stop, system, equipment, moles[0].sum(axis=0)))
    elif stop.false_end or not stop.stopped:
        found.append(_liquid_left(stop, system, equipment, moles))
    if stop.boil_over_index > 1.0:
        found.append(Finding(
            "boil-over", "caution",
            f"The predicted run throws liquid out (index {stop.boil_over_index:.1f}, limit 1): a "
            "vessel that boils over loses every analyte alike and may spoil its neighbours.",
            "Use a slower ramp, a higher end pressure, a cooler wall or a smaller fill.",
        ))
    if stop.peak_temperature > load.max_temperature_k + 0.05:
        found.append(Finding(
            "sample too warm", "caution",
            f"The sample reaches {celsius(stop.peak_temperature):.1f} degC, above its limit of "
            f"{celsius(load.max_temperature_k):g} degC"
            + ("; a dry vessel warms to the wall." if stop.dry else "."),
            "Set the wall no hotter than the limit of the sample.",
        ))
    elif stop.set_temperature > load.max_temperature_k + 0.05:
        found.append(Finding(
            "wall above the sample's limit", "caution",
            f"The wall, at {celsius(stop.set_temperature):g} degC, is hotter than the sample may "
            f"get ({celsius(load.max_temperature_k):g} degC): it stays cooler while it boils and "
            "for a while after, but how fast a dry vessel warms is assumed, not measured.",
            "Take the vessels out as soon as the run ends, and prove by a measured vessel that "
            "none gets too warm, or set the wall no hotter than the limit.",
        ))
    return tuple(found)


def _breakthrough(
    stop: Stop, system: LiquidSystem, equipment: Equipment, begun: Array
) -> Finding:
    fill = np.append(begun[:-1], 0.0) if system.has_keeper else begun
    limit = breakthrough_pressure(system, fill / fill.sum(), equipment.condenser_temperature_k)
    boils = " and ".join(system.solvents[j] for j in np.flatnonzero(fill))
    return Finding(
        "condenser breakthrough", "stop",
        f"At {mbar(stop.end_pressure):.3g} mbar the vapour of {boils} passes the "
        f"condenser at {celsius(equipment.condenser_temperature_k):.0f} degC, which condenses it "
        f"only above {mbar(limit):.3g} mbar: the load shows nothing, so the end point cannot be "
        "found, and solvent leaves with the pump.",
        "Raise the end pressure above that, cool the condenser further or stop by time.",
    )


def _liquid_left(
    stop: Stop, system: LiquidSystem, equipment: Equipment, moles: Array
) -> Finding:
    """Name what is left: nothing boiled, water, a heavier solvent, or just liquid."""
    fill = len(system.solvents) - (1 if system.has_keeper else 0)
    begun, left = moles[0].sum(axis=0)[:fill], moles[1].sum(axis=0)[:fill]
    share = left / begun.clip(1e-30)
    ends = "The condenser load falls and the run stops" if stop.stopped else "The run goes on"
    worst = int(np.argmax(left * (system.molar_mass / system.density)[:fill]))
    name, percent = system.solvents[worst], 100.0 * share[worst]
    if left.sum() > ALMOST_ALL * begun.sum():
        return _hardly_begun(stop, equipment, name)
    if name.lower() == "water" and fill > 1:
        return Finding(
            "residual water", "stop",
            f"{ends} with water left: the other solvents are gone and it boils too slowly.",
            "Set a lower end pressure, above the freezing line, or dry the extract first.",
        )
    if fill > 1 and share.min() < 0.05 < share[worst]:
        return Finding(
            "lull between solvents", "stop",
            f"{ends} with {name} left: {system.solvents[int(np.argmin(share))]} is gone and "
            f"{name} does not boil fast enough yet.",
            "Set a lower end pressure, a hotter wall or a longer end-point hold.",
        )
    if not stop.stopped and share[worst] < LEFT_SHARE:
        return Finding(
            "out of time", "stop",
            f"After {stop.time / 60:.0f} min hardly any liquid is left, but the condenser's load "
            "has not been low for as long as the end-point hold.",
            "Use a shorter end-point hold, or allow a longer run.",
        )
    if stop.stopped or stop.still:
        return Finding(
            "liquid left", "stop",
            f"{ends} with {name} left ({percent:.{0 if percent >= 1.0 else 1}f} % of it).",
            "Use a longer end-point hold, a lower load fraction or a lower end pressure.",
        )
    return Finding(
        "out of time", "stop",
        f"After {stop.time / 60:.0f} min the run has not reached its end point.",
        "Use a hotter wall, a faster ramp, a lower end pressure or a smaller fill.",
    )


def _hardly_begun(stop: Stop, equipment: Equipment, name: str) -> Finding:
    """Why almost all is left: the pressure never came down, or nothing boils there."""
    reached = max(stop.end_pressure, equipment.ultimate_pressure_pa)
    if stop.pressure > NEARLY_THERE * reached:
        return Finding(
            "out of time", "stop",
            f"After {stop.time / 60:.3g} min the pressure is still {mbar(stop.pressure):.3g} "
            f"mbar, above the end pressure of {mbar(reached):.3g} mbar, and almost all of "
            f"{name} is still there.",
            "Use a faster ramp, a pump and a condenser that keep up, or allow a longer run.",
        )
    return Finding(
        "not boiling", "stop",
        f"{name} hardly boils at {mbar(stop.end_pressure):.3g} mbar with a wall of "
        f"{celsius(stop.set_temperature):.0f} degC: almost all of it is still there.",
        "Set a lower end pressure or a hotter wall.",
    )
