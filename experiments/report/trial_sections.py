"""Sections on what was run: design, all trials, deviations, the fit and its diagnostics."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from experiments.diagnostics import leave_one_out, odd_runs
from experiments.dossier import Dossier
from experiments.job import Setting
from experiments.learnt import what_was_learnt
from experiments.report import figures
from experiments.report.blocks import Block, Bullets, Figure, Paragraph, Section, TableBlock
from experiments.report.words import factor_words, number, value_words
from experiments.trials import Trial

if TYPE_CHECKING:
    from experiments.fitted import Fitted


def build(dossier: Dossier, fitted: Fitted, shown: Setting | None) -> tuple[Section, ...]:
    """The sections in order."""
    return (
        _design(dossier), _results(dossier, fitted, shown), _deviations(dossier, fitted),
        _fit(fitted),
    )


def _event_of(dossier: Dossier, trial: Trial, kinds: tuple[str, ...]) -> str:
    """Reference to the last event of a trial, like "#7"."""
    found = [e.seq for e in dossier.events
             if e.kind in kinds and e.payload.get("trial") == trial.id]
    return f"#{found[-1]}" if found else "-"


def _design(dossier: Dossier) -> Section:
    rows = tuple(
        (t.id, t.origin, t.reason or "-", _event_of(dossier, t, ("proposed", "entered")))
        for t in dossier.trials
    )
    text = (
        "Each trial was the one whose result was expected to take most minutes off the "
        "recommended run time, given the physics and the results then known; the reason given at "
        "that moment stands beside it. The last column points at the event in the record."
    )
    return Section("Design and why", (
        Paragraph(text),
        TableBlock("Trials and their reasons", ("trial", "origin", "reason", "record"), rows),
    ))


def _results(dossier: Dossier, fitted: Fitted, shown: Setting | None) -> Section:
    factors = dossier.job.factors
    head = ("trial", *(factor_words(f.name) for f in factors), "min", "outcome", "record")
    settings = tuple(
        (t.id, *(value_words(t.setting[f.name]) for f in factors),
         number(t.result.run_time_min) if t.result else "-",
         t.result.outcome if t.result else t.state,
         _event_of(dossier, t, ("recorded", "corrected")))
        for t in dossier.trials
    )
    blocks: list[Block] = [TableBlock(
        "All trials: settings, run time and outcome", head, settings,
        "l" + "r" * len(factors) + "rlr", wide=True,
    )]
    recorded = [t for t in dossier.trials if t.result is not None]
    ids = tuple(t.id for t in recorded)
    for start in range(0, len(ids), 8):
        part = recorded[start : start + 8]
        rows = tuple(
            (a.name, f"{a.target_recovery_percent:g}", *(_cell(t, a.name) for t in part))
            for a in dossier.job.analytes
        )
        blocks.append(TableBlock(
            "Recovery in percent: mean (standard deviation between vessels; vessels measured)",
            ("analyte", "target", *(t.id for t in part)), rows, "lr" + "r" * len(part), wide=True,
        ))
    caption = ("Mean recovery against run time for all finished trials; dashed: targets"
               + ("; upright line: expected run time of the setting recommended or shown"
                  if shown else ""))
    blocks.append(Figure("recovery-time", caption, caption + ".",
                         figures.recovery_against_time(fitted, shown)))
    return Section("Trials and results", tuple(blocks))


def _cell(trial: Trial, analyte: str) -> str:
    result = trial.result
    readings = [] if result is None else [
        r for r in result.recovery.get(analyte, ()) if r is not None
    ]
    if not readings:
        return "-"
    if any(r.censored for r in readings):
        return ", ".join(str(r) for r in readings[:3])
    values = np.array([r.percent for r in readings])
    if len(values) == 1:
        return f"{values[0]:.1f}"
    return f"{values.mean():.1f} ({values.std(ddof=1):.1f}; {len(values)})"


def _deviations(dossier: Dossier, fitted: Fitted) -> Section:
    rows = tuple(
        (str(c.get("trial", "-")), str(c["kind"]), str(c.get("reason") or "-"), str(c["who"]),
         str(c["at"])[:16].replace("T", " "))
        for c in dossier.details.changes
    )
    blocks: list[Block] = []
    if rows:
        blocks.append(TableBlock("Corrections, exclusions and withdrawals",
                                 ("trial", "what", "reason", "who", "when, UTC"), rows))
    else:
        blocks.append(Paragraph("No result was corrected, excluded or withdrawn."))
    odd = odd_runs(fitted)
    if odd:
        blocks.append(Paragraph("Readings that neither physics nor the other runs explain; they "
                                "count in the fit all the same:"))
        blocks.append(Bullets(tuple(f"{f.message} {f.cure}" for f in odd)))
    remarks = tuple(f"{t.id}: {t.result.remark}" for t in dossier.trials
                    if t.result is not None and t.result.remark)
    if remarks:
        blocks.append(Bullets(remarks))
    return Section("Deviations and exclusions", tuple(blocks))


def _fit(fitted: Fitted) -> Section:
    learnt = what_was_learnt(fitted)
    told = [x for x in learnt if x.is_told]
    rows = tuple(
        (x.meaning, x.unit, f"{number(x.prior_mean)} ({number(x.prior_low)} to "
         f"{number(x.prior_high)})", f"{number(x.mean)} ({number(x.low)} to {number(x.high)})")
        for x in learnt
    )
    readings = leave_one_out(fitted)
    scales = fitted.surrogate.scales_
    text = (
        "The forecast is the run model with uncertain parameters plus a Gaussian-process "
        f"discrepancy, conditioned on {len(fitted.trials)} runs by tempered sequential Monte "
        f"Carlo ({len(fitted.surrogate.posterior_.z)} draws, "
        f"{fitted.surrogate.posterior_.steps} temperatures). The discrepancy has a standard "
        f"deviation of {100 * float(np.median(scales[:, 0])):.1f} % in run time and "
        f"{100 * float(np.median(scales[:, 1])):.1f} percentage points in recovery (posterior "
        "medians): what physics leaves unexplained."
    )
    blocks: list[Block] = [
        Paragraph(text),
        Bullets(tuple(x.sentence for x in told) or ("The trials have said little so far.",)),
        TableBlock("Parameters: median with central 95 % interval before and after the trials",
                   ("parameter", "unit", "assumed", "learnt"), rows),
    ]
    if any(r.quantity != "run time" for r in readings):
        standard = np.array([r.standard for r in readings])
        caption = (
            "Each recovery against the forecast of the other runs (leave-one-out by importance "
            f"weights); {np.mean(np.abs(standard) < 1.96) * 100:.0f} % of {len(standard)} "
            "readings lie within their 95 % interval"
        )
        blocks.append(Figure("leave-one-out", caption, caption + ".",
                             figures.predicted_against_observed(readings)))
    return Section("Model fit and diagnostics", tuple(blocks))
