"""Commands for the logs of an evaporator's own instruments."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from experiments import service
from experiments.bootstrap import open_session
from experiments.cli_output import Refusal, Reply, columns
from experiments.entries import EntryError
from experiments.log_columns import NAMES, QUANTITIES, SPELLINGS, ColumnChoice, Proposal
from experiments.log_file import LogTable, read_log_file
from experiments.trials import is_same_time

FORM = "--column pressure='P chamber':mbar"


def attach(arguments: Namespace) -> Reply:
    """Attach a log to a trial, and say what it shows."""
    from experiments import run_logs

    session = open_session(arguments.store)
    session.user.must("enter")
    path = Path(arguments.log)
    dossier = service.load(session, arguments.dossier)
    dossier.trial(arguments.trial)
    table = read_log_file(path.read_bytes())
    choices = _choices(arguments, table, run_logs.propose_columns(session, dossier, table))
    dossier, _ = run_logs.attach(session, arguments.dossier, arguments.trial, table, path.name,
                                 choices, arguments.lid_closed_min)
    if arguments.take_run_time:
        dossier = run_logs.take_run_time(session, arguments.dossier, arguments.trial)
    held = dossier.details.traces[arguments.trial]
    result = dossier.trial(arguments.trial).result
    recorded = None if result is None else result.run_time_min
    suggested = run_logs.suggested_run_time(dossier, arguments.trial)
    lines = [f"Attached {path.name} to {arguments.trial}.", _moments(held), *held["findings"],
             *held["notes"], *_about_run_time(suggested, recorded)]
    return Reply("\n".join(lines), {
        "id": dossier.id, "trial": arguments.trial, "columns": held["columns"],
        "readings": held["readings"], "moments": held["moments"],
        "lulls_min": held["lulls_min"], "findings": held["findings"], "notes": held["notes"],
        "suggested_run_time_min": suggested, "recorded_run_time_min": recorded,
    })


def detach(arguments: Namespace) -> Reply:
    """Let the log of a trial no longer count."""
    from experiments import run_logs

    run_logs.remove(open_session(arguments.store), arguments.dossier, arguments.trial,
                    arguments.reason)
    return Reply(f"The log of {arguments.trial} no longer counts.", {"id": arguments.trial})


def _choices(
    arguments: Namespace, table: LogTable, proposal: Proposal
) -> Mapping[str, ColumnChoice]:
    """Columns named on the command line, confirmed before, or accepted as proposed."""
    if arguments.column:
        return dict(map(_named, arguments.column))
    if proposal.is_known or (arguments.accept and proposal.is_whole):
        return proposal.choices
    told = [f"{NAMES[q]}: {c.column!r} in {c.unit or '(which unit?)'}"
            for q, c in proposal.choices.items()]
    lacking = [NAMES[q] for q in QUANTITIES[:2] if q not in proposal.choices]
    told += [f"{name}: (which column?)" for name in lacking]
    cure = (f"If that is right, repeat with --accept; else name each one, as {FORM}."
            if proposal.is_whole else f"Name each one that the log holds, as {FORM}.")
    raise Refusal(
        f"The columns of this log are not confirmed yet. {'; '.join(told)}.", cure,
        {"columns": {q: list(c) for q, c in proposal.choices.items()},
         "headers": list(table.headers)})


def _named(text: str) -> tuple[str, ColumnChoice]:
    quantity, equals, rest = text.partition("=")
    column, colon, unit = rest.rpartition(":")
    if not equals or not colon:
        raise EntryError(f"{text[:60]!r} names no column.", f"Write for example {FORM}.")
    return quantity.strip(), ColumnChoice(column, SPELLINGS.get(unit.casefold(), unit))


def _moments(held: Mapping[str, Any]) -> str:
    from experiments.attached_log import MOMENT_NAMES

    rows = []
    for name, words in MOMENT_NAMES.items():
        moment = held["moments"][name]
        told = ("cannot tell", "") if moment["min"] is None else (
            f"{moment['min']:.2f} min", f"{moment['low']:.2f} to {moment['high']:.2f}")
        rows.append((words, *told, moment["words"]))
    return columns(rows, ("moment", "after lid-close", "between", "how"))


def _about_run_time(suggested: float | None, recorded: float | None) -> list[str]:
    if suggested is None:
        return []
    if recorded is None:
        return [f"The log suggests a run time of {suggested:.1f} min; take it with "
                "--take-run-time."]
    if is_same_time(recorded, suggested):
        return [f"The recorded run time of {recorded:g} min is that of the log."]
    return [f"The log suggests a run time of {suggested:.1f} min, recorded is {recorded:g} min; "
            "--take-run-time corrects it."]


LOGS: dict[str, Callable[[Namespace], Reply]] = {"attach": attach, "detach": detach}
