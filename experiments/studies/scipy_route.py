"""One run of the model solved with ``scipy.integrate.solve_ivp``, to time the kernels against.

A single solvent, no keeper, to dryness, and a condenser and pump that keep the pressure on its
schedule: the plain part of :mod:`models.run_model`, written as one would without a compiled
kernel. It does less than the run model, so a ratio of times is a lower bound. Balances and
sources are those of :mod:`models.kernel_slopes`, :mod:`models.film` and
:mod:`models.heat_transfer`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from models import film, heat_transfer
from models.equipment import RESIDUE_DENSITY, Equipment, Load
from models.parameters import NAMES, natural
from models.quantities import ATMOSPHERE, GAS_CONSTANT, REFERENCE_TEMPERATURE
from models.system import Array, LiquidSystem
from models.vessel_classes import vessel_classes
from models.volatility import boiling_temperature

CLASSES = 3
HEATING, BOILING, DRY = range(3)
STEPS = 200  # most events of a run


@dataclass(frozen=True)
class Solved:
    """Run time in s (nan when the run does not end) and surviving share of each analyte."""

    run_time: float
    survival: Array


class ScipyRun:
    """One run: a state of moles, temperature, exponents and film doses a class of vessels."""

    def __init__(self, system: LiquidSystem, equipment: Equipment, load: Load,
                 setting: Array, z: Array) -> None:
        self.s, self.e, self.l = system, equipment, load
        self.wall, self.ramp, end, fill, _, _, self.hold = map(float, setting)
        p = dict(zip(NAMES, map(float, natural(z, equipment.heating)), strict=True))
        self.p = p
        self.end = max(end, equipment.ultimate_pressure_pa)
        self.first = max(min(equipment.ramp_start_pressure_pa, ATMOSPHERE), self.end)
        pump = equipment.pump_speed_m3_per_s / equipment.chamber_volume_m3
        self.pump, self.t0 = pump, p["start_delay"]
        self.t1 = self.t0 + math.log(ATMOSPHERE / self.first) / pump
        self.t2 = self.t1 + (self.first - self.end) / self.ramp
        self.start = float(system.moles(fill, 0.0)[0])
        self.volume = float(system.molar_mass[0] / system.density[0])
        self.empty = p["hold_up"] + load.residue_kg / RESIDUE_DENSITY
        self.share, place = vessel_classes(equipment.vessels)
        self.u = [p["heat_transfer"] * (1.0 + p["vessel_spread"] * abs(x)) ** np.sign(x)
                  for x in place]
        self.full = heat_transfer.full_area(equipment.vessel_capacity_m3)
        self.rim = heat_transfer.rim_area(equipment.vessel_capacity_m3, equipment.heating)
        last_wet = (self.empty / equipment.vessel_capacity_m3) ** p["area_exponent"]
        self.glass_area = self.full * last_wet + self.rim
        self.gap = heat_transfer.GAP_PRESSURE if equipment.heating == "gas gap" else 0.0
        self.film = film.film_area(equipment.vessel_capacity_m3)
        self.A = len(system.analytes)
        self.width = 2 + 2 * self.A
        self.mode = [HEATING] * CLASSES
        self.dry = [(0.0, 0.0)] * CLASSES

    def pressure(self, t: float) -> tuple[float, float]:
        """Pressure (Pa) of the schedule and its slope (Pa/s)."""
        if t < self.t0:
            return ATMOSPHERE, 0.0
        if t < self.t1:
            p = ATMOSPHERE * math.exp(-self.pump * (t - self.t0))
            return p, -self.pump * p
        if t < self.t2:
            return self.first - self.ramp * (t - self.t1), -self.ramp
        return self.end, 0.0

    def saturation(self, c: Array, t: float) -> float:
        """Saturation pressure in Pa."""
        return math.exp(c[0] + c[1] / t + c[2] * math.log(t) + c[3] * t)

    def slope(self, t: float) -> float:
        """Slope of ln P of the solvent, 1/K."""
        c = self.s.ln_p[0]
        return float(-c[1] / t**2 + c[2] / t + c[3])

    def transfer(self, a: int, t: float, p: float) -> float:
        """Velocity (m/s) at which an analyte diffuses off."""
        free = film.DIFFUSIVITY / film.PATH * (101325.0 / p) * (t / 298.15) ** 1.75
        ceiling = film.kinetic_velocity(float(self.s.analyte_molar_mass[a])) * math.sqrt(t)
        return float(self.p["film_transport"] * free * ceiling / (free + ceiling))

    def rates(self, t: float, y: Array) -> tuple[Array, float]:
        """Slopes of the state, and the load (W) of the condenser."""
        p, slope = self.pressure(t)
        f, load = np.zeros_like(y), 0.0
        boils = boiling_temperature(self.s.ln_p[0], p) if BOILING in self.mode else 0.0
        for k in range(CLASSES):
            b = k * self.width
            if self.mode[k] == DRY:
                warm = self.warm(k, t)
                for a in range(self.A):
                    pressure = self.saturation(self.s.analyte_ln_p[a], warm)
                    f[b + 2 + self.A + a] = (self.transfer(a, warm, p) * self.film * pressure
                                             / (GAS_CONSTANT * warm))
                continue
            n = max(y[b], 1e-12)
            wet = (n * self.volume / self.e.vessel_capacity_m3) ** self.p["area_exponent"]
            ua = self.u[k] * (self.full * wet + self.rim) * p / (p + self.gap)
            glass = self.p["warming_time"] * self.u[k] * self.glass_area
            heat = n * float(self.s.heat_capacity[0]) + glass
            flow, temperature = 0.0, float(y[b + 1])
            if self.mode[k] == BOILING:
                temperature, h = boils, float(self.s.h_vap[0] @ [1.0, boils, boils * boils])
                cooling = slope / (self.slope(temperature) * p)
                flow = (ua * (self.wall - temperature) - heat * cooling) / h
                f[b] = -flow
                load += flow * h * self.e.vessels * self.share[k]
            else:
                f[b + 1] = ua * (self.wall - temperature) / heat
            self.add_losses(f, b, n, flow, temperature, p)
        return f, load

    def add_losses(self, f: Array, b: int, n: float, flow: float, t: float, p: float) -> None:
        """What the analytes in the liquid of one class lose."""
        surface = film.SURFACE_SHAPE * (n * self.volume) ** (2 / 3)
        for a in range(self.A):
            partial = self.saturation(self.s.analyte_ln_p[a], t) * math.exp(
                float(self.s.analyte_ln_gamma[a, 0]) * 313.15 / t)
            velocity = self.transfer(a, t, p)
            peclet = max(flow, 0.0) * GAS_CONSTANT * t / (p * surface) / velocity
            share = 1.0 if peclet < 1e-9 else peclet / math.expm1(min(peclet, 500.0))
            f[b + 2 + a] = (self.p["entrainment"] * partial / p * flow / n
                            + velocity * share * surface * partial / (GAS_CONSTANT * t * n))

    def warm(self, k: int, t: float) -> float:
        """Temperature (K) of a dry vessel."""
        since, start = self.dry[k]
        return self.wall - (self.wall - start) * math.exp(-(t - since) / self.p["warming_time"])

    def events(self) -> list[Any]:
        """What ends a piece: a class starts to boil or falls dry."""
        found = []
        for k in range(CLASSES):
            b = k * self.width
            if self.mode[k] == HEATING:
                def what(t: float, y: Array, b: int = b) -> float:
                    return self.pressure(t)[0] / self.saturation(self.s.ln_p[0], y[b + 1]) - 1.0
            elif self.mode[k] == BOILING:
                def what(t: float, y: Array, b: int = b) -> float:
                    del t
                    return float(y[b]) * self.volume / self.empty - 1.0
            else:
                continue
            what.terminal, what.direction = True, -1  # type: ignore[attr-defined]
            found.append((k, what))
        return found

    def solve(self, rtol: float = 1e-7) -> Solved:
        """Integrate piece by piece until the load has stayed low for the hold."""
        y = np.zeros(CLASSES * self.width)
        y[0 :: self.width], y[1 :: self.width] = self.start, REFERENCE_TEMPERATURE
        t, peak, quiet = 0.0, 0.0, math.nan
        corners = [self.t0, self.t1, self.t2, self.l.max_run_time_s]
        share = self.p["end_sensitivity"] * self.e.end_point_load_fraction
        for _ in range(STEPS):
            if t >= self.l.max_run_time_s - 1e-9:
                break
            found = self.events()
            answer = solve_ivp(
                lambda s, x: self.rates(s, x)[0], (t, min(c for c in corners if c > t + 1e-9)), y,
                method="LSODA", rtol=rtol, atol=1e-12, dense_output=True,
                events=[what for _, what in found] or None)
            before = t
            for s in map(float, np.linspace(t, float(answer.t[-1]), 200)[1:]):
                load = self.rates(s, answer.sol(s))[1]
                peak = max(peak, load)
                if s < self.t2 or load >= share * peak:
                    quiet = math.nan
                elif not math.isfinite(quiet):
                    quiet = self.when_low(answer.sol, before, s, share * peak)
                before = s
                if s >= quiet + self.hold:
                    return Solved(quiet + self.hold, self.survival(answer.sol(quiet + self.hold)))
            t, y = float(answer.t[-1]), answer.y[:, -1].copy()
            for (k, _), times in zip(found, answer.t_events or [], strict=True):
                if len(times):
                    self.turn(k, t, y)
        return Solved(math.nan, np.full(self.A, math.nan))

    def when_low(self, state: Any, early: float, late: float, level: float) -> float:
        """Moment between two at which the load falls below a level (W), by halving."""
        for _ in range(30):
            middle = 0.5 * (early + late)
            is_low = self.rates(middle, state(middle))[1] < level
            early, late = (early, middle) if is_low else (middle, late)
        return late

    def turn(self, k: int, t: float, y: Array) -> None:
        """The class goes on to boil, or is dry."""
        b = k * self.width
        if self.mode[k] == BOILING:
            y[b + 1] = boiling_temperature(self.s.ln_p[0], self.pressure(t)[0])
            self.dry[k] = (t, float(y[b + 1]))
        self.mode[k] += 1

    def survival(self, y: Array) -> Array:
        """Mean over the classes of what is left, the film by its law."""
        residue = self.l.residue_kg / film.RESIDUE_MOLAR_MASS
        left = np.zeros(self.A)
        for k in range(CLASSES):
            b = k * self.width
            for a, spike in enumerate(map(float, self.l.spike_mol)):
                solvent = residue + float(self.l.spike_mol.sum()) - spike
                alive = spike * math.exp(-float(y[b + 2 + a]))
                dose = float(y[b + 2 + self.A + a])
                left[a] += self.share[k] * film.film_left(alive, solvent, dose) / spike
        return left
