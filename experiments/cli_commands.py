"""The commands: each turns arguments into one use-case and its result into a reply."""

from __future__ import annotations

import re
import sys
from argparse import Namespace
from collections.abc import Callable
from pathlib import Path
from typing import Any

from experiments import service
from experiments.bootstrap import open_session
from experiments.cli_output import Reply, UserFault, columns, plain, progress
from experiments.cli_tools import TOOLS
from experiments.job import EvaporationJob, Setting


def _job(arguments: Namespace) -> EvaporationJob:
    """The job of a file, or of a dossier of that id."""
    source = arguments.source
    if Path(source).suffix == ".toml" or Path(source).is_file():
        from experiments.job_file import parse

        return parse(Path(source))
    return service.load(open_session(arguments.store), source).job


def new(arguments: Namespace) -> Reply:
    wanted = arguments.id
    if wanted is not None and not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}", wanted):
        raise UserFault(f"{wanted[:40]!r} cannot be the id of a dossier.",
                        "Use up to 32 letters, digits, dots and dashes, a letter or digit first.")
    dossier = service.create(open_session(arguments.store), Path(arguments.job), wanted)
    assumed = [f"equipment.{n}" for n in dossier.job.equipment.assumed]
    assumed += [f"sample.{n}" for n in dossier.job.sample.assumed]
    text = f"Started dossier {dossier.id}: {dossier.job.title}"
    if assumed:
        text += f"\nAssumed (not in the job file): {', '.join(assumed)}"
    return Reply(text, {"id": dossier.id, "title": dossier.job.title, "assumed": assumed})


def window(arguments: Namespace) -> Reply:
    from experiments.window import window_report

    job = _job(arguments)
    with progress("working out the window") as step:
        found = window_report(job, progress=step)
    rows = [(x["name"], x["where"], x["reason"]) for x in found["limits"]]
    lines = [columns(rows, ("limit", "where", "why"))]
    forecast = found["forecast"]
    lines.append("\nForecast from physics alone, before any trial:")
    lines.append(_forecast_text(forecast))
    return Reply("\n".join(lines), plain(found))


def _forecast_text(forecast: Any) -> str:
    rows = []
    time = forecast["run_time_min"]
    rows.append(("run time", *(_number(time[k], "min") for k in ("mean", "low", "high"))))
    for name, interval in forecast["recovery_percent"].items():
        rows.append((name, *(_number(interval[k], "%") for k in ("mean", "low", "high"))))
    return columns(rows, ("quantity", "mean", "low", "high"))


def _number(value: float | None, unit: str) -> str:
    return "-" if value is None else f"{value:.1f} {unit}"


def simulate(arguments: Namespace) -> Reply:
    from experiments.predicted_run import predicted_run

    job = _job(arguments)
    setting: Setting = {
        f.name: f.choices[0] if f.choices else f.low for f in job.factors
    }
    for name in ("set_temperature_c", "ramp_rate_mbar_per_min", "end_pressure_mbar",
                 "keeper_volume_ml", "end_volume_ml", "end_point_hold_min", "keeper"):
        value = getattr(arguments, name)
        if value is not None:
            setting[name] = value
    run = predicted_run(job, setting)
    lines = [
        f"Finished in {run['run_time_min']:.1f} min." if run["finished"]
        else "Not finished within the longest run time.",
        *(f"{name}: {value:.1f} % recovered" for name, value in run["recovery_percent"].items()),
        f"Peak condenser load {run['peak_condenser_load_w']:.0f} W; boil-over "
        f"{'likely' if run['boil_over'] else 'not expected'}.",
        *run["findings"],
    ]
    return Reply("\n".join(lines), plain(run))


def propose(arguments: Namespace) -> Reply:
    session = open_session(arguments.store)
    dossier = service.load(session, arguments.dossier)
    count = arguments.n if arguments.n is not None else dossier.job.limits.trials_per_batch
    with progress("learning") as step:
        dossier, trials = service.propose(session, dossier.id, count, step)
    if arguments.output:
        from experiments.bench_sheet import write_sheet

        write_sheet(dossier, [t.id for t in dossier.pending], Path(arguments.output))
    data = {
        "trials": [
            {"id": t.id, "setting": t.setting, "reason": t.reason,
             "run_time_min": t.run_time_min, "recovery_percent": t.recovery_percent}
            for t in trials
        ],
        "stop_reason": dossier.stop_reason,
    }
    if not trials:
        return Reply(f"No trial proposed: {dossier.stop_reason}.", data, is_yes=False)
    names = [f.name for f in dossier.job.factors]
    rows = [(t.id, *(f"{t.setting[n]:g}" if not isinstance(t.setting[n], str) else t.setting[n]
                     for n in names), f"{t.run_time_min['mean']:.0f}") for t in trials]
    text = columns(rows, ("trial", *names, "expected min"))
    text += "\n" + "\n".join(f"{t.id}: {t.reason}" for t in trials)
    if arguments.output:
        text += f"\nBench sheet written to {arguments.output}"
    return Reply(text, data)


def record(arguments: Namespace) -> Reply:
    data = (sys.stdin.buffer.read() if arguments.table == "-"
            else Path(arguments.table).read_bytes())
    session = open_session(arguments.store)
    dossier, table, ids = service.record_table(session, arguments.dossier, data)
    rejected = [{"row": r.row, "reason": r.reason, "cure": r.cure} for r in table.rejected]
    reply = {"accepted": ids, "rejected": rejected}
    if dossier is None:
        lines = "\n".join(f"Row {r.row}: {r.reason} {r.cure}" for r in table.rejected)
        if arguments.json:
            import json

            print(json.dumps(reply, ensure_ascii=False))
        raise UserFault(lines, "Nothing was recorded.")
    notes = "".join(f"\n{n}" for n in table.notes)
    return Reply(f"Recorded {', '.join(ids)}.{notes}", reply)


def recommend(arguments: Namespace) -> Reply:
    with progress("learning") as step:
        _, answer = service.recommend(open_session(arguments.store), arguments.dossier,
                                      not arguments.fastest, step)
    shown = answer.setting if answer.setting is not None else (
        answer.compromise.setting if answer.compromise else {})
    lines = [answer.status[0].upper() + answer.status[1:], answer.reason]
    label = "Setting" if answer.setting is not None else "Best compromise"
    lines.append(f"{label}: " + ", ".join(f"{k} = {v if isinstance(v, str) else f'{v:g}'}"
                                          for k, v in shown.items()))
    lines.append(_forecast_text(plain({"run_time_min": answer.run_time_min,
                                       "recovery_percent": answer.recovery_percent})))
    lines.append(f"Probability of meeting every target: {100 * answer.probability:.0f} %")
    lines += [f"- {r.sentence}" for r in answer.remedies]
    data = plain({
        "status": answer.status, "setting": answer.setting, "compromise": answer.compromise,
        "fastest": answer.fastest, "run_time_min": answer.run_time_min,
        "recovery_percent": answer.recovery_percent, "probability": answer.probability,
        "reason": answer.reason, "remedies": list(answer.remedies),
    })
    return Reply("\n".join(lines), data, is_yes=answer.status == "recommended")


def listing(arguments: Namespace) -> Reply:
    found = service.summaries(open_session(arguments.store))
    data = {"dossiers": [
        {"id": s.id, "title": s.title, "state": s.state, "trials": s.trials,
         "updated": s.updated} for s in found
    ]}
    if not found:
        return Reply("No dossiers yet. Start one with `boilwright new JOB.toml`.", data)
    rows = [(s.id, s.state, s.trials, s.title) for s in found]
    return Reply(columns(rows, ("id", "state", "trials", "title")), data)


def audit(arguments: Namespace) -> Reply:
    checks = service.audit(open_session(arguments.store))
    broken = {i: c for i, c in checks.items() if not c.holds}
    events = sum(c.events for c in checks.values())
    first = next(iter(broken.items()), None)
    data = {
        "holds": not broken, "events": events,
        "first_broken": None if first is None else {"dossier": first[0],
                                                    "seq": first[1].first_broken},
        "dossiers": {i: plain(c) for i, c in checks.items()},
    }
    if first is None:
        return Reply(f"The history of {len(checks)} dossiers ({events} events) holds.", data)
    return Reply(f"The history of dossier {first[0]} is broken at event "
                 f"{first[1].first_broken}; restore it from a backup.", data, is_yes=False)


COMMANDS: dict[str, Callable[[Namespace], Reply]] = {
    "new": new, "window": window, "simulate": simulate, "propose": propose, "record": record,
    "recommend": recommend, "list": listing, "audit": audit, **TOOLS,
}
