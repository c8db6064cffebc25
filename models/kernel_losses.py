"""Compiled loss of analytes and thermal dose along one integration step.

While boiling, Rayleigh distillation with an efficiency E ("entrainment"; published losses on
concentrating exceed equilibrium, Chang et al. 2001, Int. J. Environ. Anal. Chem. 80:13):
d ln n = -E gamma P_i/P d(-ln N), plus what diffuses off besides the vapour stream. Standing
liquid loses by diffusion only, a dry film by :mod:`models.film`.

Integrals over a step use Simpson's rule; between the two ends the integrand is taken as
exponential, whose middle is the geometric mean. Dry vessels warm up quickly: their integral
takes as many panels as it needs.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined
from models.film import (
    SURFACE_SHAPE,
    THERMAL_ACTIVATION,
    THERMAL_REFERENCE,
    diffusion_velocity,
    transfer_velocity,
)
from models.kernel_data import CLASSES, KINETIC, Liquid, Rig
from models.kernel_liquid import ln_gamma_analyte, ln_saturation
from models.kernel_slopes import fractions, schedule
from models.kernel_space import (
    BOILING,
    DRY,
    FLOW,
    MOLES,
    ON,
    PIECE,
    SURFACE,
    TEMPERATURE,
    VOLUME,
    Course,
    Space,
)
from models.quantities import GAS_CONSTANT
from models.system import Array

PANEL, WARM_AFTER, MOST_PANELS = 0.6, 5.0, 50  # of the warming time; panels of a step
MOST_PECLET = 30.0  # stream over diffusion from which on nothing diffuses besides


@inlined
def thermal_rate(temperature: float) -> float:
    """Rate of thermal loss relative to that at the reference temperature."""
    exponent = THERMAL_ACTIVATION / GAS_CONSTANT * (1.0 / THERMAL_REFERENCE - 1.0 / temperature)
    return np.exp(exponent)


@inlined
def dry_temperature(t: float, k: int, space: Space, course: Course) -> float:
    """Temperature (K) of a dry vessel."""
    share = np.exp(-(t - space.dry[k, 0]) / course.warming)
    return course.set_temperature - (course.set_temperature - space.dry[k, 1]) * share


@inlined
def film_losses(k: int, t: float, h: float, p0: float, p1: float, space: Space, course: Course,
                liquid: Liquid, rig: Rig) -> None:
    """Add what a dry class loses in h (s), while the pressure goes from p0 to p1."""
    traces = liquid.traces
    panels = 1
    if t - space.dry[k, 0] < WARM_AFTER * course.warming:
        panels += min(int(h / (PANEL * course.warming)), MOST_PANELS)
    nodes = 2 * panels
    change = np.log(p1 / p0)
    for i in range(nodes + 1):
        place = i / nodes
        weight = h / (3.0 * nodes) * (1.0 if i in (0, nodes) else 2.0 + 2.0 * (i % 2))
        temperature = dry_temperature(t + place * h, k, space, course)
        pressure = p0 * np.exp(change * place)
        if space.now[ON] > 0.0:
            pressure = schedule(t + place * h, space.now[PIECE], course, rig)[0]
        diffusion = diffusion_velocity(temperature, pressure)
        scale = weight * course.film_transport * rig.film_area / (GAS_CONSTANT * temperature)
        ln_t = np.log(temperature)
        for a in range(traces.shape[0]):
            velocity = transfer_velocity(diffusion, traces[a, KINETIC], temperature)
            space.film[k, a] += scale * velocity * np.exp(
                ln_saturation(traces, a, temperature, ln_t))
        space.dose[k] += weight * thermal_rate(temperature)


@inlined
def pressures(k: int, y: Array, space: Space, liquid: Liquid) -> None:
    """Write gamma P (Pa) of each analyte over the liquid of class k."""
    solvents = liquid.pure.shape[0]
    temperature, x = space.aux[k, TEMPERATURE], space.scratch[4]
    x[0] = 1.0
    if solvents > 1:
        fractions(y, 1 + k * (solvents + 1), space.aux[k, MOLES], x)
    ln_t = np.log(temperature)
    for a in range(liquid.traces.shape[0]):
        space.trace_pressure[a] = np.exp(
            ln_saturation(liquid.traces, a, temperature, ln_t)
            + ln_gamma_analyte(a, x, temperature, liquid.traces))


@inlined
def diffusion_losses(k: int, stream: float, diffusion: float, loss: Array, space: Space,
                     course: Course, liquid: Liquid) -> None:
    """Write the loss (1/s) by diffusion besides a vapour stream (m/s) into ``loss[1]``."""
    temperature = space.aux[k, TEMPERATURE]
    scale = space.aux[k, SURFACE] / (GAS_CONSTANT * temperature * space.aux[k, MOLES])
    for a in range(liquid.traces.shape[0]):
        velocity = course.film_transport * transfer_velocity(
            diffusion, liquid.traces[a, KINETIC], temperature)
        peclet = stream / velocity
        loss[1, k, a] = 0.0
        if peclet < MOST_PECLET:
            share = 1.0 - 0.5 * peclet if peclet < 1e-6 else peclet / np.expm1(peclet)
            loss[1, k, a] = velocity * space.trace_pressure[a] * share * scale


@inlined
def rates(y: Array, loss: Array, heat: Array, space: Space, course: Course,
          liquid: Liquid) -> None:
    """Write the loss rates of the classes that are not dry.

    Parameters
    ----------
    y : state
    loss : [2, 3, A], filled: E gamma P_i/P of boiling classes, and by diffusion (1/s)
    heat : [3], filled with :func:`thermal_rate`
    """
    solvents, p, shared, diffusion = liquid.pure.shape[0], y[0], -1, 0.0
    aux, analytes = space.aux, liquid.traces.shape[0]
    for k in range(CLASSES):
        if space.mode[k] == DRY:
            continue
        if space.mode[k] > DRY:
            heat[k] = thermal_rate(y[1 + k * (solvents + 1) + solvents])
            for a in range(analytes):
                loss[0, k, a], loss[1, k, a] = 0.0, 0.0
            continue
        boils = space.mode[k] == BOILING
        temperature = aux[k, TEMPERATURE]
        if shared >= 0 and boils:  # a single solvent boils at one temperature
            heat[k] = heat[shared]
            for a in range(analytes):
                loss[0, k, a] = loss[0, shared, a]
                space.trace_pressure[a] = loss[0, k, a] * p / course.entrainment
        else:
            pressures(k, y, space, liquid)
            heat[k] = thermal_rate(temperature)
            diffusion = diffusion_velocity(temperature, p)
            for a in range(analytes):
                partial = course.entrainment * space.trace_pressure[a] / p
                loss[0, k, a] = partial if boils else 0.0
            if boils and solvents == 1:
                shared = k
        surface = SURFACE_SHAPE * np.exp(2.0 / 3.0 * np.log(aux[k, VOLUME]))
        aux[k, SURFACE] = surface
        stream = 0.0
        if boils:
            stream = max(aux[k, FLOW], 0.0) * GAS_CONSTANT * temperature / (p * surface)
        if stream < MOST_PECLET * course.film_transport * diffusion:
            diffusion_losses(k, stream, diffusion, loss, space, course, liquid)
        else:
            for a in range(analytes):
                loss[1, k, a] = 0.0


@inlined
def between(a: float, b: float) -> float:
    """Mean of an integrand over a step, exponential between its ends."""
    return (a + 4.0 * np.sqrt(a * b) + b) / 6.0


@inlined
def accumulate(t: float, h: float, p0: float, space: Space, course: Course, liquid: Liquid,
               rig: Rig) -> None:
    """Add the losses of a step of h (s) from t to ``exponent``, ``film`` and ``dose``.

    ``p0`` is the pressure at its begin; ``shrink`` holds the decrease of ln N of each class.
    """
    for k in range(CLASSES):
        if space.mode[k] == DRY:
            film_losses(k, t, h, p0, space.y[0], space, course, liquid, rig)
            continue
        space.dose[k] += h * between(space.heat0[k], space.heat1[k])
        for a in range(liquid.traces.shape[0]):
            space.exponent[k, a] += (
                space.shrink[k] * between(space.loss0[0, k, a], space.loss1[0, k, a])
                + h * between(space.loss0[1, k, a], space.loss1[1, k, a]))
