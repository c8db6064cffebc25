"""A job restated in words, also while it is only half written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from experiments.wording import as_asked, listed
from wizard.units import Units
from wizard.view_models.job_draft import value_at
from wizard.view_models.job_fields import FACTOR_LABELS


def job_sentence(draft: Mapping[str, Any], units: Units) -> str:
    """What the job asks for, in a few sentences; gaps are named."""
    parts = [_sample(draft, units), _survivors(draft), _levers(draft, units), _limits(draft)]
    return " ".join(p for p in parts if p)


def _number(draft: Mapping[str, Any], path: str) -> float | None:
    value = value_at(draft, path)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _said(draft: Mapping[str, Any], path: str, units: Units) -> str:
    value = _number(draft, path)
    return units.text(path.rsplit(".", 1)[-1], value, 4) if value is not None else "…"


def _sample(draft: Mapping[str, Any], units: Units) -> str:
    solvents = [s for s in value_at(draft, "sample.solvents") or [] if isinstance(s, Mapping)]
    names = [str(s.get("name") or "…") for s in solvents]
    shares = [s.get("volume_fraction") for s in solvents]
    if len(names) > 1 and all(isinstance(s, int | float) and 0 <= s <= 1 for s in shares):
        names = [f"{n} ({100 * float(s):.4g} %)"
                 for n, s in zip(names, shares, strict=True) if s is not None]
    vessels = _number(draft, "equipment.vessels")
    who = f"Each of {vessels:g} vessels" if vessels else "Each vessel"
    text = (
        f"{who} holds {_said(draft, 'sample.fill_volume_ml', units)} of "
        f"{listed(names) or '… (choose a solvent)'}"
    )
    keeper = value_at(draft, "sample.keeper.name")
    if keeper:
        text += f" with {_keeper(draft, str(keeper), units)}"
    end = _number(draft, "sample.end_volume_ml")
    if end:
        is_varied = value_at(draft, "factors.end_volume_ml") is not None
        goal = "to an end volume" if is_varied else (
            f"to {_said(draft, 'sample.end_volume_ml', units)}")
    else:
        goal = "down to the keeper" if keeper else "to dryness"
    cap = _said(draft, "sample.max_temperature_c", units)
    stop = "" if cap.endswith("…") else "."
    return f"{text} and is taken {goal}; the sample stays below {cap}{stop}"


def _keeper(draft: Mapping[str, Any], name: str, units: Units) -> str:
    """How much of which keeper; what may be varied is named among the levers."""
    is_chosen, is_varied = (value_at(draft, f"factors.{n}") is not None
                            for n in ("keeper", "keeper_volume_ml"))
    if is_varied:
        return "a keeper" if is_chosen else f"{name} as keeper"
    volume = _said(draft, "sample.keeper.volume_ml", units)
    return f"{volume} of a keeper" if is_chosen else f"{volume} of {name} as keeper"


def _survivors(draft: Mapping[str, Any]) -> str:
    rows = [a for a in draft.get("analytes") or [] if isinstance(a, Mapping)]
    must: dict[str, list[str]] = {}
    for a in rows:
        if a.get("role", "must") == "must":
            must.setdefault(_target(a), []).append(str(a.get("name") or "…"))
    wanted = "; ".join(
        f"{listed(names)} ({'each ' if len(names) > 1 else ''}at least {target} %)"
        for target, names in must.items()
    )
    watch = [str(a.get("name") or "…") for a in rows if a.get("role") == "watch"]
    if not rows:
        return "No analyte has been named yet."
    text = f"What must come back: {wanted}." if must else "No analyte constrains the choice."
    return f"{text} Watched: {listed(watch)}." if watch else text


def _target(analyte: Mapping[str, Any]) -> str:
    value = analyte.get("target_recovery_percent", "…")
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _levers(draft: Mapping[str, Any], units: Units) -> str:
    free, fixed = [], []
    for name, label in FACTOR_LABELS.items():
        value = value_at(draft, f"factors.{name}")
        if not isinstance(value, Mapping):
            continue
        if name == "keeper":
            free.append(f"keeper ({' or '.join(str(c) for c in value.get('choices') or ['…'])})")
            continue
        low = _number(draft, f"factors.{name}.low")
        high = _number(draft, f"factors.{name}.high")
        if low is None or high is None:
            continue
        if low == high:
            fixed.append(f"{label.lower()} at {units.text(name, low, 4)}")
        else:
            start = units.sign(f"{units.shown(name, low):.4g}")
            free.append(f"{label.lower()} ({start} to {units.text(name, high, 4)})")
    text = f"Free to choose: {listed(free)}." if free else ""
    return f"{text} Fixed: {listed(fixed)}.".strip() if fixed else text


def _limits(draft: Mapping[str, Any]) -> str:
    trials, assurance = _number(draft, "limits.trials"), _number(draft, "limits.assurance")
    longest = _number(draft, "limits.max_run_time_min")
    if trials is None or assurance is None or longest is None:
        return ""
    return (
        f"At most {trials:g} trials and {longest:g} min a run; every target is to be met with "
        f"{as_asked(assurance)} probability."
    )
