"""Comparisons in sentences and rows."""

from __future__ import annotations

import math
from collections.abc import Sequence

from experiments.differences import Comparison, Span
from experiments.differences import Difference as Found
from experiments.dossier import Dossier
from experiments.job import Setting
from experiments.wording import amount, capital, listed, signed
from wizard.charts.differences import Difference
from wizard.units import Units

VERDICTS = {"same": ":material/drag_handle: the same",
            "different": ":material/swap_vert: different",
            "cannot tell": ":material/help: cannot be told"}


def named_settings(dossier: Dossier) -> dict[str, Setting]:
    """Settings of a dossier by the names a reader knows them by."""
    named: dict[str, Setting] = {}
    if dossier.job.today:
        named["method in use"] = dict(dossier.job.today)
    noted = dossier.details.recommendation
    if noted and noted.get("setting"):
        named["recommended"] = dict(noted["setting"])
    for trial in dossier.trials:
        if trial.state != "withdrawn" and trial.setting not in named.values():
            named[trial.id] = dict(trial.setting)
    return named


def headline(found: Comparison) -> str:
    """Same or different, in a sentence."""
    if not found.differences:
        return found.sentences[0] if found.sentences else "There is nothing to compare yet."
    by: dict[str, list[str]] = {}
    for d in found.differences:
        by.setdefault(d.verdict, []).append(_what(d))
    leads = {"different": "different", "same": "the same within what matters",
             "cannot tell": "not told apart"}
    text = "; ".join(
        f"{lead}: {listed(list(dict.fromkeys(by[verdict])))}"
        for verdict, lead in leads.items() if verdict in by
    )
    return f"{capital(text)}."


def _what(found: Found) -> str:
    return found.what.removeprefix("recovery of ")


def difference_lines(found: Comparison, units: Units) -> list[dict[str, str]]:
    """Each difference with its interval and verdict."""
    return [
        {
            "what": f"{_what(d)}, {'%' if d.unit == 'points' else d.unit}",
            "from": f"{d.first}: {_number(d.first_value, d.first_span, units)}",
            "to": f"{d.second}: {_number(d.second_value, d.second_span, units)}",
            "difference (95 %)": units.sign(_interval(d)),
            "verdict": VERDICTS[d.verdict],
        }
        for d in found.differences
    ]


def further(found: Comparison) -> list[str]:
    """The sentences that are not the headline."""
    return [s for s in found.sentences if s != headline(found)]


def _number(value: float, span: Span | None, units: Units) -> str:
    """A mean, or from where to where it may lie when readings below a limit leave it open."""
    if span is None or not math.isnan(value):
        return units.sign(f"{value:.1f}")
    return units.sign(f"{span[0]:.1f} to {span[1]:.1f}")


def _interval(found: Found) -> str:
    """The difference with its interval, or the interval alone where readings leave it open."""
    ends = f"{signed(found.low)} to {signed(found.high)}"
    return ends if math.isnan(found.difference) else f"{signed(found.difference)} ({ends})"


def open_sentence(found: Comparison) -> str:
    """What readings below their limit do to the differences; empty where there are none."""
    names = dict.fromkeys(_what(d) for d in found.differences if d.is_open)
    return "" if not names else (
        f"Readings of {listed(list(names))} below their limit count as anything from zero to that "
        "limit; each interval and verdict holds for all of it.")


def chart_rows(found: Comparison, unit: str) -> list[Difference]:
    """Differences in one unit, for the chart."""
    several = len({d.second for d in found.differences}) > 1
    return [
        Difference(f"{_what(d)}{f' ({d.second})' if several else ''}", d.difference, d.low, d.high,
                   d.verdict)
        for d in found.differences if d.unit == unit
    ]


def method_lines(found: Comparison) -> list[dict[str, str]]:
    """The method in use and the recommended one, at full use of one evaporator."""
    if found.today is None or found.recommended is None:
        return []
    names: Sequence[tuple[str, str]] = (
        ("a batch with handling, min", "batch_min"), ("batches a day", "batches_a_day"),
        ("samples a day", "samples_a_day"), ("samples a week", "samples_a_week"),
        ("analyst minutes a week", "analyst_min_a_week"),
        ("solvent a week, L", "solvent_l_a_week"),
        ("condenser emptied, times a week", "condenser_emptyings_a_week"),
    )
    return [
        {"": label, "method in use": amount(getattr(found.today, key)),
         "recommended": amount(getattr(found.recommended, key))}
        for label, key in names
    ]
