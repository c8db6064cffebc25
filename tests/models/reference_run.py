"""An independent solution of the run model for tests: plain Python, scipy's solve_ivp,
the balances again, in moles and without a compiled kernel; restarted at every event.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from models import film, heat_transfer
from models.condenser import APPROACH
from models.equipment import RESIDUE_DENSITY, Equipment, Load
from models.kernel_data import GAS_TEMPERATURE
from models.parameters import NAMES, natural
from models.system import LiquidSystem
from models.vessel_classes import vessel_classes

R = 8.31446261815324
ATM = 101325.0
HEATING, BOILING, STILL, DRY, FROZEN = "heating", "boiling", "still", "dry", "frozen"
CLASSES = 3


@dataclass
class Outcome:
    finished: bool
    run_time: float
    survival: np.ndarray  # [A]
    evaporated: float = 0.0
    modes: list[str] = field(default_factory=list)
    peak: float = 0.0


class ReferenceRun:
    """One run, written down a second time."""

    def __init__(self, system: LiquidSystem, equipment: Equipment, load: Load,
                 setting: np.ndarray, z: np.ndarray) -> None:
        self.s, self.e, self.l = system, equipment, load
        (self.wall, self.ramp, end, fill, keeper, _, self.hold) = map(float, setting)
        self.p = dict(zip(NAMES, map(float, natural(z, equipment.heating)), strict=True))
        self.end = max(end, equipment.ultimate_pressure_pa)
        self.from_p = max(min(equipment.ramp_start_pressure_pa, ATM), self.end)
        self.pump = equipment.pump_speed_m3_per_s / equipment.chamber_volume_m3
        self.t1 = self.p["start_delay"] + math.log(ATM / self.from_p) / self.pump
        self.t2 = self.t1 + (self.from_p - self.end) / self.ramp
        self.start = system.moles(fill, keeper)
        self.S, self.A, self.K = len(self.start), len(system.analytes), int(system.has_keeper)
        self.v = system.molar_mass / system.density
        self.dry_volume = self.p["hold_up"] + load.residue_kg / RESIDUE_DENSITY
        self.share, place = vessel_classes(equipment.vessels)
        off = 1 + self.p["vessel_spread"] * np.abs(place)
        self.u = self.p["heat_transfer"] * off ** np.sign(place)
        self.full = heat_transfer.full_area(equipment.vessel_capacity_m3)
        self.rim = heat_transfer.rim_area(equipment.vessel_capacity_m3, equipment.heating)
        wet = ((self.dry_volume + keeper) / self.e.vessel_capacity_m3) ** self.p["area_exponent"]
        self.glass = self.p["warming_time"] * self.u * (self.full * wet + self.rim)
        self.film_area = film.film_area(equipment.vessel_capacity_m3)
        self.gap = heat_transfer.GAP_PRESSURE if equipment.heating == "gas gap" else 0.0
        self.power = self.p["condenser_limit"] * equipment.condenser_power_w
        cold = equipment.condenser_temperature_k
        self.cold = [self.saturation(system.ln_p[j], cold) for j in range(self.S)]
        self.cold_h = [self.enthalpy(j, cold) for j in range(self.S)]
        main, caught = int(np.argmax(self.start)), self.start[: self.S - self.K]
        self.last_cold = (self.cold[main], self.cold_h[main])
        self.trap = float(caught @ self.cold[: len(caught)] / caught.sum())
        self.mode = [HEATING] * CLASSES
        self.fell_dry = [(0.0, 0.0)] * CLASSES
        self.guess = [293.15] * CLASSES
        self.on, self.piece = True, 0
        self.width = self.S + 1 + 2 * self.A

    # -- properties ------------------------------------------------------------------

    @staticmethod
    def saturation(c: np.ndarray, t: float) -> float:
        return math.exp(c[0] + c[1] / t + c[2] * math.log(t) + c[3] * t)

    def enthalpy(self, j: int, t: float) -> float:
        h = self.s.h_vap[j]
        return float(h[0] + h[1] * t + h[2] * t * t)

    def gammas(self, x: np.ndarray, t: float) -> np.ndarray:
        tau = self.s.nrtl_a + self.s.nrtl_b / t
        np.fill_diagonal(tau, 0.0)
        g = np.exp(-self.s.nrtl_alpha * tau)
        below = x @ g
        mean = (x @ (tau * g)) / below
        return np.exp(mean + ((tau - mean) * g / below) @ x)

    def partial(self, x: np.ndarray, t: float) -> np.ndarray:
        p = np.array([self.saturation(self.s.ln_p[j], t) for j in range(self.S)])
        return x * p * (self.gammas(x, t) if self.S > 1 else 1.0)

    def boil(self, k: int, x: np.ndarray, p: float) -> float:
        t = self.guess[k]
        for _ in range(80):
            value = math.log(self.partial(x, t).sum() / p)
            slope = math.log(self.partial(x, t + 1e-4).sum() / p) - value
            step = max(-30.0, min(30.0, -value / (slope / 1e-4)))
            t += step
            if abs(step) < 1e-10:
                break
        self.guess[k] = t
        return t

    def scheduled(self, t: float) -> tuple[float, float]:
        if self.piece == 0:
            return ATM, 0.0
        if self.piece == 1:
            p = ATM * math.exp(-self.pump * (t - self.p["start_delay"]))
            return p, -self.pump * p
        if self.piece == 2:
            return self.from_p - self.ramp * (t - self.t1), -self.ramp
        return self.end, 0.0

    def mass_transfer(self, molar_mass: float, t: float, p: float) -> float:
        by_diffusion = film.DIFFUSIVITY * (101325.0 / p) * (t / 298.15) ** 1.75 / film.PATH
        ceiling = film.ACCOMMODATION * math.sqrt(R * t / (2 * math.pi * molar_mass))
        return self.p["film_transport"] / (1.0 / by_diffusion + 1.0 / ceiling)

    def analyte_pressure(self, a: int, x: np.ndarray, t: float) -> float:
        ln_gamma = float(x @ self.s.analyte_ln_gamma[a])
        for j in range(self.S):
            for i in range(j):
                ln_gamma += x[i] * x[j] * self.s.analyte_ln_gamma_pair[a, i, j]
        return self.saturation(self.s.analyte_ln_p[a], t) * math.exp(ln_gamma * 313.15 / t)

    # -- balances --------------------------------------------------------------------

    def liquid(self, k: int, y: np.ndarray, p: float) -> dict:
        n = np.maximum(y[1 + k * self.width : 1 + k * self.width + self.S], 0.0)
        total = n.sum()
        x = n / total
        volume = float(n @ self.v)
        wet = (volume / self.e.vessel_capacity_m3) ** self.p["area_exponent"]
        ua = self.u[k] * (self.full * wet + self.rim) * p / (p + self.gap)
        c = float(n @ self.s.heat_capacity) + self.glass[k]
        out = {"n": total, "x": x, "v": volume, "ua": ua, "c": c, "a": 0.0, "b": 0.0,
               "t": y[1 + k * self.width + self.S], "count": self.share[k] * self.e.vessels}
        if self.mode[k] == BOILING:
            t = out["t"] = self.boil(k, x, p)
            parts = self.partial(x, t)
            vapour = parts / parts.sum()
            h = sum(vapour[j] * self.enthalpy(j, t) for j in range(self.S))
            up, down = (self.partial(x, t + d).sum() for d in (1e-3, -1e-3))
            by_t = math.log(up / down) / 2e-3
            drift = 0.0
            if self.S > 1:
                q = 1e-5
                up, down = x + q * (x - vapour), x - q * (x - vapour)
                by_x = math.log(self.partial(up, t).sum() / self.partial(down, t).sum()) / (2 * q)
                drift = max(-by_x / by_t, 0.0)
            need = h + c * drift / total
            out |= {"y": vapour, "h": h, "a": ua * (self.wall - t) / need,
                    "b": c / (by_t * p) / need}
        return out

    def balance(self, t: float, y: np.ndarray) -> dict:
        wanted, slope_wanted = self.scheduled(t)
        p = wanted if self.on else y[0]
        each = [self.liquid(k, y, p) if self.mode[k] in (HEATING, BOILING, STILL) else None
                for k in range(CLASSES)]
        made_of = [q for q in each if q and q["a"] > 0.0]
        if made_of:
            weight = sum(q["count"] * q["a"] for q in made_of)
            self.last_cold = (
                sum(q["count"] * q["a"] * float(q["y"] @ self.cold) for q in made_of) / weight,
                sum(q["count"] * q["a"] * float(q["y"] @ self.cold_h) for q in made_of) / weight)
        limit_p, limit_h = self.last_cold
        duty = 0.0
        if p > limit_p:
            tc = self.e.condenser_temperature_k
            rise = R * tc * tc / limit_h * math.log(p / limit_p)
            duty = self.power * (1.0 - math.exp(-rise / APPROACH))
        pumped = self.e.pump_speed_m3_per_s * min(p, limit_p) / (R * GAS_TEMPERATURE)
        supply = sum(q["count"] * q["a"] for q in each if q)
        flash = sum(q["count"] * q["b"] for q in each if q)
        excess = supply - duty / limit_h - pumped
        fastest = -self.pump * p
        if excess > 0:
            gas = self.e.chamber_volume_m3 / (R * GAS_TEMPERATURE)
            able = 0.0 if p >= ATM else excess / (flash + gas)
        else:
            able = max(fastest, excess / flash) if flash > 0 else fastest
        slope = slope_wanted if self.on else able
        made = sum(q["count"] * (q["a"] - q["b"] * slope) * q["h"] for q in each if q and q["a"])
        load = max(made, 0.0) * duty / (duty + pumped * limit_h)
        return {"p": p, "each": each, "slope": slope, "able": able, "wanted": slope_wanted,
                "load": load, "through": p <= max(limit_p, self.trap)}

    def rhs(self, t: float, y: np.ndarray) -> np.ndarray:
        b = self.balance(t, y)
        p, f = b["p"], np.zeros_like(y)
        f[0] = b["slope"]
        for k in range(CLASSES):
            q, base = b["each"][k], 1 + k * self.width
            losses = base + self.S + 1
            if self.mode[k] == DRY:
                warm = self.dry_heat(k, t)
                for a in range(self.A):
                    v = self.mass_transfer(self.s.analyte_molar_mass[a], warm, p)
                    f[losses + self.A + a] = v * self.film_area * self.saturation(
                        self.s.analyte_ln_p[a], warm) / (R * warm)
            if q is None:
                continue
            flow = 0.0
            if self.mode[k] == HEATING:
                f[base + self.S] = q["ua"] * (self.wall - q["t"]) / q["c"]
            elif self.mode[k] == BOILING:
                flow = q["a"] - q["b"] * b["slope"]
                f[base : base + self.S] = -flow * q["y"]
            elif self.S > 1 and self.s.has_keeper and q["x"][-1] > 1e-12:
                v = self.mass_transfer(self.s.molar_mass[-1], q["t"], p)
                leaving = v * 1.5 * q["v"] ** (2 / 3) * self.partial(q["x"], q["t"])[-1] / (
                    R * q["t"])
                f[base : base + self.S] = -q["x"] * leaving / q["x"][-1]
            surface = 1.5 * q["v"] ** (2 / 3)
            for a in range(self.A):
                pressure = self.analyte_pressure(a, q["x"], q["t"])
                v = self.mass_transfer(self.s.analyte_molar_mass[a], q["t"], p)
                still = v * surface * pressure / (R * q["t"] * q["n"])
                if self.mode[k] == BOILING:
                    f[losses + a] += self.p["entrainment"] * pressure / p * flow / q["n"]
                    stream = max(flow, 0.0) * R * q["t"] / (p * surface) / v
                    still *= stream / math.expm1(stream) if 1e-9 < stream < 500 else (
                        1.0 if stream <= 1e-9 else 0.0)
                f[losses + a] += still
        return f

    def dry_heat(self, k: int, t: float) -> float:
        since, warm = self.fell_dry[k]
        return self.wall - (self.wall - warm) * math.exp(-(t - since) / self.p["warming_time"])

    # -- trajectory ------------------------------------------------------------------

    def events(self) -> list:  # noqa: C901 - one event a branch
        found = []
        def add(kind: str, k: int, function) -> None:
            def event(t, y):
                return function(t, y)
            event.terminal, event.direction, event.kind, event.k = True, -1, kind, k
            found.append(event)
        for k in range(CLASSES):
            base = 1 + k * self.width
            if self.mode[k] == HEATING:
                def hot(t, y, base=base, k=k):
                    n = y[base : base + self.S]
                    p = self.scheduled(t)[0] if self.on else y[0]
                    return math.log(p / self.partial(n / n.sum(), y[base + self.S]).sum())
                add("boil", k, hot)
            if self.mode[k] in (BOILING, STILL):
                add("dry", k, lambda t, y, base=base: math.log(
                    max(y[base : base + self.S] @ self.v, 1e-30) / self.dry_volume))
            if self.mode[k] == BOILING:
                def ice(t, y, k=k):
                    q = self.liquid(k, y, self.scheduled(t)[0] if self.on else y[0])
                    j = int(np.argmax(q["x"]))
                    if q["x"][j] <= 0.5:
                        return 1.0
                    return q["t"] - self.s.freezing_temperature[j] / (
                        1.0 - R / 56.5 * math.log(q["x"][j]))
                add("ice", k, ice)
                add("quench", k, lambda t, y, k=k: self.flow(k, t, y))
                if self.piece == 3 and self.on and self.S > 1:
                    add("still", k, lambda t, y, k=k: self.wall - 0.02 - self.liquid(
                        k, y, self.end)["t"])
            if self.mode[k] == HEATING and self.piece == 3 and self.on:
                add("still", k, lambda t, y, base=base: self.wall - 0.02 - y[base + self.S])
        if self.on:
            add("leave", 0, lambda t, y: self.margin(t, y) + 1e-9)
        else:
            add("rejoin", 0, lambda t, y: y[0] / self.scheduled(t)[0] - 1.0)
        return found

    def flow(self, k: int, t: float, y: np.ndarray) -> float:
        b = self.balance(t, y)
        return b["each"][k]["a"] - b["each"][k]["b"] * b["slope"] + 1e-12

    def margin(self, t: float, y: np.ndarray) -> float:
        b = self.balance(t, y)
        return (b["wanted"] - b["able"]) / (self.pump * b["p"])

    def solve(self, rtol: float = 1e-8) -> Outcome:  # noqa: C901 - one event a branch
        y = np.zeros(1 + CLASSES * self.width)
        y[0] = ATM
        for k in range(CLASSES):
            y[1 + k * self.width : 1 + k * self.width + self.S] = self.start
            y[1 + k * self.width + self.S] = 293.15
        t, peak, quiet_since = 0.0, 0.0, None
        last = self.l.max_run_time_s
        atol = np.full(len(y), 1e-10)
        atol[0] = 1e-4
        for k in range(CLASSES):
            base = 1 + k * self.width
            atol[base : base + self.S] = 1e-9 * self.start.sum()
            atol[base + self.S] = 1e-6
            atol[base + self.S + 1 + self.A : base + self.width] = 1e-15
        corners = [self.p["start_delay"], self.t1, self.t2, last]
        for _ in range(400):
            self.piece = sum(t >= c - 1e-9 for c in corners[:3])
            corner = min(c for c in corners if c > t + 1e-9)
            if self.on:
                y[0] = self.scheduled(t)[0]
                if self.margin(t, y) < -1e-9:
                    self.on = False
            events = self.events()
            answer = solve_ivp(self.rhs, (t, corner), y, method="LSODA", rtol=rtol, atol=atol,
                               events=events, dense_output=True)
            assert answer.success, answer.message
            stop, quiet_since, peak = self.end_point(answer, quiet_since, peak)
            if stop is not None:
                return self.outcome(stop, answer.sol(stop), peak)
            t, y = answer.t[-1], answer.y[:, -1].copy()
            for k in range(CLASSES):
                if self.mode[k] == BOILING:
                    p = self.scheduled(t)[0] if self.on else y[0]
                    y[1 + k * self.width + self.S] = self.liquid(k, y, p)["t"]
            if answer.status == 1:
                for event, times in zip(events, answer.t_events, strict=True):
                    if len(times):
                        self.happen(event, t, y)
            elif t >= last - 1e-9:
                break
        return Outcome(False, math.nan, np.full(self.A, math.nan), modes=list(self.mode))

    def happen(self, event, t: float, y: np.ndarray) -> None:
        k, base = event.k, 1 + event.k * self.width
        if event.kind == "boil":
            self.mode[k] = BOILING
            self.guess[k] = y[base + self.S]
        elif event.kind == "dry":
            self.mode[k] = DRY
            self.fell_dry[k] = (t, y[base + self.S])
        elif event.kind == "ice":
            self.mode[k] = FROZEN
        elif event.kind == "quench":
            self.mode[k] = HEATING
        elif event.kind == "still":
            self.mode[k] = STILL
            y[base + self.S] = self.wall
        else:
            self.on = event.kind == "rejoin"

    # -- end point -------------------------------------------------------------------

    def end_point(self, answer, quiet_since, peak):
        """Time of the stop within this piece of trajectory, or what to carry on with."""
        def load(t: float) -> float:
            return self.balance(t, answer.sol(t))["load"]
        times = np.unique(np.concatenate([answer.t, np.linspace(answer.t[0], answer.t[-1], 40)]))
        share = self.p["end_sensitivity"] * self.e.end_point_load_fraction
        before = None
        for t in times:
            b = self.balance(t, answer.sol(t))
            peak = max(peak, b["load"])
            noticed = not b["through"] or self.p["breakthrough_end"] > 0.0
            waits = self.on and self.piece == 3 and noticed and peak > 0.0
            if quiet_since is not None and b["load"] > share * peak * 1.001:
                quiet_since = None
            if quiet_since is None and waits and b["load"] < share * peak:
                quiet_since = t
                if before is not None and load(before) > share * peak:
                    quiet_since = brentq(
                        lambda s, level=share * peak: load(s) - level, before, t, xtol=1e-6)
            if quiet_since is not None and t >= quiet_since + self.hold:
                return quiet_since + self.hold, quiet_since, peak
            before = t
        return None, quiet_since, peak

    def outcome(self, stop: float, y: np.ndarray, peak: float) -> Outcome:
        left, survival = 0.0, np.zeros(self.A)
        others = self.l.residue_kg / film.RESIDUE_MOLAR_MASS + self.l.spike_mol.sum()
        thin = self.K * self.start[-1] * np.exp(-self.s.analyte_ln_gamma[:, -1])
        for k, base in enumerate(range(1, 1 + CLASSES * self.width, self.width)):
            volumes = y[base : base + self.S] * self.v
            if self.mode[k] != DRY:
                kept = (1 + self.p["left_in_keeper"]) * volumes[-1] if self.s.has_keeper else 0.0
                left = max(left, volumes.sum() - self.dry_volume - kept)
            for a in range(self.A):
                alive = math.exp(-y[base + self.S + 1 + a])
                dose, spike = y[base + self.S + 1 + self.A + a], self.l.spike_mol[a]
                kept = self.film_law(spike * alive, others + thin[a] - spike, dose)
                survival[a] += self.share[k] * kept / spike
        finished = bool(left <= 0.005 * float(self.start @ self.v))  # otherwise a false end
        return Outcome(finished, stop, survival, modes=list(self.mode), peak=peak)

    @staticmethod
    def film_law(start: float, solvent: float, dose: float) -> float:
        """Solve dn/d(dose) = -n/(n + solvent) from ``start``."""
        if dose <= 1e-12 * start:  # also where nothing is left to lose
            return start
        level = math.log(start)
        def miss(ln_n: float) -> float:
            return math.exp(ln_n) - start + solvent * (ln_n - level) + dose
        return math.exp(brentq(miss, level - (dose + start) / solvent - 1.0, level, xtol=1e-12))
