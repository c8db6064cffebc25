"""Mass and energy of a run, over random jobs: by the run model and by the independent solution.

What a vessel held at lid-close is what it holds now and what went off as vapour; what came
through the wall, less what warmed the glass under the last of the liquid, is what the liquid
gained in sensible heat and what the vapour carried off, latent and sensible. Closed form. A vessel
that is dry holds its hold-up, whose warming the model leaves out, so that its balance of energy
ends there.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from random_jobs import job
from reference_run import CLASSES, STILL, ReferenceRun

from models import kernel_space
from models.run_trace import trace

CLOSES = 1e-6
"""Relative, asked of both balances."""
TIGHT = 1e-8
"""Tolerance of a step: the balances close in proportion to it, to 5.2e-7 in 12 000 random jobs."""
AGREE = 1e-5
"""Relative, between the totals of both solutions."""
KINDS = ((1, False), (1, True), (2, False), (2, True))
"""Solvents, and whether there is a keeper beside them."""
GAUSS = np.polynomial.legendre.leggauss(4)


def balances(system, followed):
    """Gaps of mass and energy relative to what there was in all, at every moment [M, 3] twice."""
    start, moles = followed.moles[0], followed.moles.sum(axis=2)
    mass = (start.sum(axis=1) - moles - followed.vapour) / start.sum(axis=1)
    sensible = followed.moles @ system.heat_capacity * followed.temperature
    energy = followed.heat - (sensible - sensible[0]) - followed.vapour_enthalpy
    liquid = followed.mode < kernel_space.DRY
    return mass, np.where(liquid, energy / followed.heat[-1], 0.0)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 5000), st.sampled_from(KINDS))
@example(141, (1, False))
@example(233, (1, False))
def test_mass_and_energy_of_a_run_are_conserved(seed, kind):
    """To 1e-6 at every moment, in every class of vessels, keeper that diffuses away included."""
    made = job(seed, *kind)
    followed = trace(made.system, made.equipment, made.load, made.setting, made.z,
                     tolerance=TIGHT)
    mass, energy = balances(made.system, followed)
    assert np.max(np.abs(mass)) < CLOSES
    assert np.max(np.abs(energy)) < CLOSES
    assert np.all(np.diff(followed.vapour, axis=0) >= -1e-12 * followed.moles[0].sum())


class BalancedRun(ReferenceRun):
    """The independent solution with what passes the walls and leaves as vapour added up."""

    def __init__(self, *given) -> None:
        super().__init__(*given)
        self.heat, self.gone, self.carried = np.zeros((3, CLASSES))  # J, mol, J
        self.store = np.zeros((2, CLASSES))  # J in the liquid at lid-close and when last seen

    def rates(self, t, y):
        """Heat (W), vapour (mol/s) and its enthalpy (W) of each class [3, 3]."""
        each, slopes = self.balance(t, y)["each"], self.rhs(t, y)
        out = np.zeros((3, CLASSES))
        for k, q in enumerate(each):
            if q is None:
                continue
            base = 1 + k * self.width
            leaving = -slopes[base : base + self.S]
            latent = sum(n * self.enthalpy(j, q["t"]) for j, n in enumerate(leaving))
            heat = latent
            if self.mode[k] != STILL:
                warming = self.glass[k] * self.warming(k, t, y, slopes)
                heat = q["ua"] * (self.wall - q["t"]) - warming
            out[:, k] = heat, leaving.sum(), latent + leaving @ self.s.heat_capacity * q["t"]
        return out

    def warming(self, k, t, y, slopes, over=0.01):
        """K/s of the liquid of a class, as it moves within ``over`` s before and after."""
        late, early = (self.balance(t + d, y + d * slopes)["each"][k]["t"] for d in (over, -over))
        return (late - early) / (2.0 * over)

    def end_point(self, answer, quiet_since, peak):
        found = super().end_point(answer, quiet_since, peak)
        last = answer.t[-1] if found[0] is None else min(found[0], answer.t[-1])
        for begin, end in zip(answer.t[:-1], answer.t[1:], strict=True):
            half = 0.5 * (min(end, last) - begin)
            for node, weight in zip(*GAUSS, strict=True):
                t = begin + half * (1.0 + node)
                if half > 0.0:
                    self.heat, self.gone, self.carried = (
                        total + half * weight * rate for total, rate in zip(
                            (self.heat, self.gone, self.carried), self.rates(t, answer.sol(t)),
                            strict=True))
        first = answer.t[0] == 0.0
        for at, t in ((0, 0.0), (1, last)) if first else ((1, last),):
            each = self.balance(t, answer.sol(t))["each"]
            for k, q in enumerate(each):
                if q is not None:
                    self.store[at, k] = (q["c"] - self.glass[k]) * q["t"]
        self.last = answer.sol(last)
        return found

    def happen(self, event, t, y) -> None:
        base = 1 + event.k * self.width
        before = y[base + self.S]
        super().happen(event, t, y)
        warmed = (y[base + self.S] - before) * (y[base : base + self.S] @ self.s.heat_capacity)
        if event.kind == "still":
            self.heat[event.k] += warmed
            self.store[1, event.k] += warmed

    def left(self):
        """mol in a vessel of each class at the stop."""
        return np.array([self.last[1 + k * self.width : 1 + k * self.width + self.S].sum()
                         for k in range(CLASSES)])


@pytest.mark.parametrize("number", [
    *range(4), *(pytest.param(n, marks=pytest.mark.slow) for n in range(4, 12))])
def test_the_independent_solution_balances_and_comes_to_the_same(number):
    """To 1e-6 by itself; what left and what it took as the run model says."""
    made = job(number, *KINDS[number % len(KINDS)])
    run = BalancedRun(made.system, made.equipment, made.load, made.setting, made.z)
    run.solve(rtol=1e-9)
    mass = (run.start.sum() - run.left() - run.gone) / run.start.sum()
    assert mass == pytest.approx(0.0, abs=CLOSES)
    gained = run.store[1] - run.store[0]
    assert (run.heat - gained - run.carried) / run.heat == pytest.approx(0.0, abs=CLOSES)
    followed = trace(made.system, made.equipment, made.load, made.setting, made.z,
                     tolerance=TIGHT)
    assert followed.vapour[-1] == pytest.approx(run.gone, rel=AGREE)
    assert followed.heat[-1] == pytest.approx(run.heat, rel=AGREE)
