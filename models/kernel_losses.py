"""Compiled loss of analytes and thermal dose along one integration step.

While boiling, Rayleigh distillation with an efficiency E ("entrainment"; published losses on
concentrating exceed equilibrium, Chang et al. 2001, Int. J. Environ. Anal. Chem. 80:13):
d ln n = -E gamma P_i/P d(-ln N), plus what diffuses off besides the vapour stream. Standing
liquid loses by diffusion only, a dry film by :mod:`models.film`.

Integrals over a step use Simpson's rule; between the two ends the integrand is taken as
exponential, whose middle is the geometric mean. Dry vessels, which warm up quickly, are
evaluated in the middle.
"""

from __future__ import annotations

import numpy as np

from models.compilation import inlined, kernel
from models.film import (
    SURFACE_SHAPE,
    THERMAL_ACTIVATION,
    THERMAL_REFERENCE,
    diffusion_velocity,
    transfer_velocity,
)
from models.kernel_data import CLASSES, KINETIC, Modes, Rig
from models.kernel_liquid import ln_gamma_analyte, ln_saturation
from models.kernel_slopes import (
    BOILING,
    DRY,
    FLOW,
    FROZEN,
    HEATING,
    MOLES,
    STILL,
    SURFACE,
    TEMPERATURE,
    VOLUME,
    Course,
)
from models.quantities import GAS_CONSTANT
from models.system import Array

MOST_PECLET = 30.0  # stream over diffusion from which on nothing diffuses besides


@inlined
def thermal_rate(temperature: float) -> float:
    """Rate of thermal loss relative to that at the reference temperature."""
    exponent = THERMAL_ACTIVATION / GAS_CONSTANT * (1.0 / THERMAL_REFERENCE - 1.0 / temperature)
    return np.exp(exponent)  # type: ignore[no-any-return]


@inlined
def dry_temperature(t: float, k: int, dry: Array, course: Course) -> float:
    """Temperature (K) of a dry vessel; ``dry`` [3, 2] holds time and temperature then."""
    share = np.exp(-(t - dry[k, 0]) / course.warming)
    return course.set_temperature - (course.set_temperature - dry[k, 1]) * share  # type: ignore[no-any-return]


@inlined
def film_rates(temperature: float, p: float, course: Course, traces: Array, rig: Rig,
               out: Array) -> None:
    """Write the loss (mol/s) of a pure film of each analyte into ``out`` [A]."""
    ln_t = np.log(temperature)
    diffusion = diffusion_velocity(temperature, p)
    scale = course.film_transport * rig.film_area / (GAS_CONSTANT * temperature)
    for a in range(out.shape[0]):
        velocity = transfer_velocity(diffusion, traces[a, KINETIC], temperature)
        out[a] = scale * velocity * np.exp(
            ln_saturation(traces, a, temperature, ln_t))


@inlined
def liquid_pressures(k: int, y: Array, solvents: int, traces: Array, aux: Array, x: Array,
                     out: Array) -> None:
    """Write gamma P (Pa) of each analyte over the liquid of class k into ``out`` [A].

    ``x`` [S] is filled with the mole fractions.
    """
    temperature = aux[k, TEMPERATURE]
    if solvents == 1:
        x[0] = 1.0
    else:
        for j in range(solvents):
            x[j] = max(y[1 + k * (solvents + 1) + j], 0.0) / aux[k, MOLES]
    ln_t = np.log(temperature)
    for a in range(out.shape[0]):
        out[a] = np.exp(ln_saturation(traces, a, temperature, ln_t)
                        + ln_gamma_analyte(a, x, temperature, traces))


@inlined
def still_rates(k: int, stream: float, diffusion: float, course: Course,
                traces: Array, aux: Array, pressure: Array, out: Array) -> None:
    """Write the loss (1/s) by diffusion besides a vapour stream (m/s) into ``out`` [A]."""
    temperature = aux[k, TEMPERATURE]
    scale = aux[k, SURFACE] / (GAS_CONSTANT * temperature * aux[k, MOLES])
    for a in range(out.shape[0]):
        velocity = course.film_transport * transfer_velocity(
            diffusion, traces[a, KINETIC], temperature)
        peclet = stream / velocity
        out[a] = 0.0
        if peclet < MOST_PECLET:
            share = 1.0 - 0.5 * peclet if peclet < 1e-6 else peclet / np.expm1(peclet)
            out[a] = velocity * pressure[a] * share * scale


@kernel
def rates(t: float, y: Array, mode: Modes, dry: Array, course: Course, traces: Array,
          rig: Rig, aux: Array, with_vapour: Array, by_diffusion: Array, thermal: Array,
          scratch: Array, pressure: Array) -> None:
    """Write the loss rates of all classes.

    Parameters
    ----------
    t, y, mode, dry, course, traces, rig, aux : state
    with_vapour : [3, A], E gamma P_i/P of boiling classes
    by_diffusion : [3, A], 1/s; of a dry class the loss of a pure film, mol/s
    thermal : [3], of :func:`thermal_rate`
    scratch, pressure : [4, S], [A]
    """
    solvents, p, shared = scratch.shape[1], y[0], -1
    diffusion = 0.0
    for k in range(CLASSES):
        if mode[k] == DRY:
            temperature = dry_temperature(t, k, dry, course)
            film_rates(temperature, p, course, traces, rig, by_diffusion[k])
            thermal[k] = thermal_rate(temperature)
            continue
        temperature = y[1 + k * (solvents + 1) + solvents]
        if mode[k] > DRY:
            by_diffusion[k, :] = 0.0
            with_vapour[k, :] = 0.0
            thermal[k] = thermal_rate(temperature)
            continue
        boils = mode[k] == BOILING
        temperature = aux[k, TEMPERATURE]
        if shared >= 0 and boils:  # a single solvent boils at one temperature
            with_vapour[k, :] = with_vapour[shared]
            thermal[k] = thermal[shared]
        else:
            liquid_pressures(k, y, solvents, traces, aux, scratch[0], pressure)
            thermal[k] = thermal_rate(temperature)
            diffusion = diffusion_velocity(temperature, p)
            for a in range(pressure.shape[0]):
                with_vapour[k, a] = course.entrainment * pressure[a] / p if boils else 0.0
            if boils and solvents == 1:
                shared = k
        surface = SURFACE_SHAPE * np.exp(2.0 / 3.0 * np.log(aux[k, VOLUME]))
        aux[k, SURFACE] = surface
        stream = 0.0
        if boils:
            stream = max(aux[k, FLOW], 0.0) * GAS_CONSTANT * temperature / (p * surface)
        if stream < MOST_PECLET * course.film_transport * diffusion:
            if shared >= 0 and boils:
                for a in range(pressure.shape[0]):
                    pressure[a] = with_vapour[k, a] * p / course.entrainment
            still_rates(k, stream, diffusion, course, traces, aux, pressure, by_diffusion[k])
        else:
            by_diffusion[k, :] = 0.0


@inlined
def between(a: float, b: float) -> float:
    """Mean of an integrand over a step, exponential between its ends."""
    return (a + 4.0 * np.sqrt(a * b) + b) / 6.0  # type: ignore[no-any-return]


@kernel
def accumulate(t: float, h: float, p0: float, p1: float, mode: Modes, dry: Array, course: Course,
               traces: Array, rig: Rig, shrink: Array, start: Array, start_d: Array,
               start_h: Array, end: Array, end_d: Array, end_h: Array, middle: Array,
               exponent: Array, film: Array, dose: Array) -> None:
    """Add the losses of a step to ``exponent`` [3, A], ``film`` [3, A] and ``dose`` [3].

    Parameters
    ----------
    t, h : s, begin and length of the step
    p0, p1 : Pa at both ends
    shrink : [3], decrease of ln N over the step
    start, start_d, start_h, end, end_d, end_h : rates at both ends, of :func:`rates`
    middle : [A] scratch
    """
    analytes = exponent.shape[1]
    for k in range(CLASSES):
        if mode[k] == DRY:
            temperature = dry_temperature(t + 0.5 * h, k, dry, course)
            film_rates(temperature, np.sqrt(p0 * p1), course, traces, rig, middle)
            for a in range(analytes):
                film[k, a] += h / 6.0 * (start_d[k, a] + 4.0 * middle[a] + end_d[k, a])
            dose[k] += h / 6.0 * (start_h[k] + 4.0 * thermal_rate(temperature) + end_h[k])
            continue
        dose[k] += h * between(start_h[k], end_h[k])
        if mode[k] in (HEATING, STILL):
            for a in range(analytes):
                exponent[k, a] += h * between(start_d[k, a], end_d[k, a])
        elif mode[k] != FROZEN:
            for a in range(analytes):
                exponent[k, a] += (shrink[k] * between(start[k, a], end[k, a])
                                   + h * between(start_d[k, a], end_d[k, a]))
