"""Section on the fit: predicted against observed, parameters with what was assumed of them."""

from __future__ import annotations

import math

import numpy as np

from experiments.carry_over import carried_words
from experiments.carrying import verdicts
from experiments.diagnostics import Reading
from experiments.events import last_of
from experiments.learnt import Learnt
from experiments.misfit import misfit
from experiments.report.charts import learnt_chart, predicted_against_observed
from experiments.report.digits import NONE, figures, printed, value
from experiments.report.document import (
    Block,
    Bullets,
    Column,
    Figure,
    Notice,
    Paragraph,
    Section,
    Table,
    rows_of,
)
from experiments.report.gathered import Gathered
from experiments.report.trials_part import closest_first
from experiments.wording import counted

WORST = 8
MOST_TOLD = 6
MOST_DRAWN = 24


def fit(g: Gathered) -> Section:
    """How well the fit explains the bench, and what it learnt."""
    blocks: list[Block] = [Paragraph(
        f"The forecasts come from a run model of the evaporation whose parameters were learnt "
        f"from {counted(len(g.fitted.trials), 'trial')}, and a Gaussian process that corrects "
        f"what the model leaves open. {len(g.fitted.surrogate.posterior_.z)} draws of the "
        f"parameters were kept by tempered sequential Monte Carlo (seed {g.dossier.job.seed})."
    )]
    blocks += [Notice("caution", "The run model against the trials", f.sentence)
               for f in misfit(g.fitted)]
    blocks += _carried(g)
    if g.readings:
        blocks += _agreement(g)
    moved = [x for x in g.learnt if x.is_told and abs(x.mean - x.prior_mean) > 0.02 * x.prior_mean]
    told = sorted(moved, key=_gain, reverse=True)[:MOST_TOLD]
    blocks.append(Paragraph("What the trials taught most:" if told else
                            "The trials taught nothing beyond what was assumed."))
    if told:
        blocks.append(Bullets(tuple(printed(x.sentence) for x in told)))
    shown = _most_changed(g.learnt)
    which = "" if len(shown) == len(g.learnt) else (
        f"; the {len(shown)} of {len(g.learnt)} that changed most, all are in the table")
    blocks.append(Figure(
        "Parameters after the trials (mean and 95 % interval) on the scale of what was assumed "
        f"before them (grey, 95 %){which}", learnt_chart(shown),
        "Interval of each parameter after the trials against the one assumed before.",
    ))
    blocks.append(_parameters(g.learnt))
    return Section("fit", "Model fit and diagnostics", tuple(blocks))


def _carried(g: Gathered) -> list[Block]:
    """What came from an earlier dossier, what did not, and whether the trials agree."""
    carried = g.fitted.carried
    if carried is None:
        return []
    record = last_of(g.dossier.events, "carried over")
    found = verdicts(g.fitted)
    said = " ".join(v.sentence for v in found)
    is_against = any(v.is_against for v in found)
    return [
        Paragraph(carried_words(carried), (record.seq,) if record is not None else ()),
        *([Bullets(carried.left_out)] if carried.left_out else []),
        *([Notice("caution" if is_against else "info", "What the trials say of it", said)]
          if said else []),
    ]


def _agreement(g: Gathered) -> list[Block]:
    standard = np.array([r.standard for r in g.readings])
    inside = float((np.abs(standard) <= 1.96).mean())
    spread = float(np.sqrt((standard**2).mean()))
    names = [a.name for a in closest_first(g)]
    text = (
        f"Each trial was forecast from the others (leave-one-out). Of {len(standard)} readings "
        f"{100 * inside:.0f} % lie inside their 95 % interval for a new run; the residuals have a "
        f"root mean square of {value(spread, 2)} standard deviations (1 is ideal). A reading "
        "below its limit counts here as half of it."
    )
    worst = sorted(g.readings, key=lambda r: -abs(r.standard))[:WORST]
    return [
        Paragraph(text),
        Figure("Leave-one-out forecasts against what was read; bars are 95 % intervals of a "
               "single run", predicted_against_observed(g.readings, names),
               "Observed against forecast recoveries and run times; on the line both agree."),
        Table(
            f"The {len(worst)} largest residuals",
            (Column("trial"), Column("quantity", weight=1), Column("observed", "right"),
             Column("forecast", "right"), Column("standard deviation", "right"),
             Column("in standard deviations", "right")),
            rows_of([_residual_row(r) for r in worst]),
        ),
    ]


def _residual_row(r: Reading) -> list[str]:
    unit = "min" if r.quantity == "run time" else "%"
    return [r.trial, r.quantity, f"{value(r.observed)} {unit}", f"{value(r.predicted)} {unit}",
            value(r.sd), value(r.standard, 2)]


def _most_changed(found: tuple[Learnt, ...]) -> list[Learnt]:
    """The parameters that changed most, in their usual order."""
    chosen = sorted(range(len(found)), key=lambda i: -_gain(found[i]))[:MOST_DRAWN]
    return [found[i] for i in sorted(chosen)]


def _gain(x: Learnt) -> float:
    """How much a parameter moved and narrowed, in units of what was assumed."""
    assumed = x.prior_high - x.prior_low
    if not assumed > 0.0:
        return 0.0
    narrowed = math.log(assumed / max(x.high - x.low, 1e-3 * assumed))
    return abs(x.mean - x.prior_mean) / assumed + 0.5 * max(narrowed, 0.0)


def _parameters(found: tuple[Learnt, ...]) -> Table:
    return Table(
        "Parameters: assumed before and learnt after the trials (mean and 95 % interval)",
        (Column("parameter", weight=3), Column("unit"), Column("assumed", "right", 2),
         Column("after the trials", "right", 2)),
        rows_of([
            [x.meaning, _unit(x), _range(x, x.prior_mean, x.prior_low, x.prior_high),
             _range(x, x.mean, x.low, x.high)] for x in found
        ]), size="small",
    )


def _range(x: Learnt, mean: float, low: float, high: float) -> str:
    if not all(math.isfinite(v) for v in (mean, low, high)):
        return NONE
    scale = 1e6 if x.unit == "m3" else 1.0
    text = [figures(scale * v, 2) for v in (mean, low, high)]
    return f"{text[0]} ({text[1]} to {text[2]})"


def _unit(x: Learnt) -> str:
    own = {"m3": "mL", "1": "–", "x assumed": "× assumed"}
    return own.get(x.unit, printed(x.unit))
