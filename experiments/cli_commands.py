"""The commands of the main line: each is one use-case and its answer in words and in JSON."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from experiments import service
from experiments.bootstrap import open_session
from experiments.carry_over import carried_words, carry_over_payload
from experiments.cli_logs import LOGS
from experiments.cli_output import (
    Refusal,
    Reply,
    check_output,
    columns,
    progress,
)
from experiments.cli_record import RECORD
from experiments.cli_tools import TOOLS
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.job import EXTRA_FACTORS, MAIN_FACTORS, EvaporationJob, Setting
from experiments.json_data import plain
from experiments.trials import Trial
from experiments.wording import capital, counted, percent


def read_job(arguments: Namespace) -> EvaporationJob:
    """The job of a file, or of a dossier of that id."""
    source = arguments.source
    if Path(source).suffix == ".toml" or Path(source).is_file():
        from experiments.job_file import parse

        return parse(Path(source))
    return service.load(open_session(arguments.store), source).job


def new(arguments: Namespace) -> Reply:
    """Start a dossier."""
    session = open_session(arguments.store)
    with progress("learning from the earlier dossier" if arguments.earlier else "starting"):
        dossier = service.create(session, Path(arguments.job), arguments.id, arguments.earlier)
    job = dossier.job
    carried = dossier.details.carried
    assumed = [f"equipment.{n}" for n in job.equipment.assumed]
    assumed += [f"sample.{n}" for n in job.sample.assumed]
    assumed += [f"limits.{n}" for n in job.limits.assumed]
    assumed += [f"analytes[{a.name}].{n}" for a in job.analytes for n in a.assumed]
    text = f"Started dossier {dossier.id}: {job.title}"
    if assumed:
        text += f"\nAssumed (not in the job file): {', '.join(assumed)}"
    if carried is not None:
        text += "\n" + "\n".join((carried_words(carried), *carried.left_out))
    return Reply(text, {
        "id": dossier.id, "title": job.title, "assumed": assumed,
        "carried_over": None if carried is None else carry_over_payload(carried),
    })


def window(arguments: Namespace) -> Reply:
    """Say what physics allows."""
    job = read_job(arguments)
    with progress("working out the window") as step:
        from experiments.window import window_report

        found = window_report(job, progress=step)
    rows = [(x["name"], x["where"], x["reason"]) for x in found["limits"]]
    lines = [
        columns(rows, ("limit", "where", "why")), "",
        "Forecast from physics alone, before any trial:",
        f"Setting: {shown_setting(found['forecast']['setting'])}",
        forecast_text(found["forecast"]), *found["cautions"],
    ]
    return Reply("\n".join(lines), plain(found))


def simulate(arguments: Namespace) -> Reply:
    """Predict one run."""
    job = read_job(arguments)
    setting = usual_setting(job)
    for name in (*MAIN_FACTORS, *EXTRA_FACTORS):
        value = getattr(arguments, name)
        if value is None:
            continue
        if name not in setting:
            raise EntryError(f"{name} is no factor of this job.",
                             "Add it to [factors] of the job, or leave the option out.")
        setting[name] = value
    with progress("simulating"):
        from experiments.predicted_run import predicted_run

        run = predicted_run(job, setting)
    lines = [
        _ending(run, job.limits.max_run_time_min),
        *(f"{name}: {value:.1f} % recovered" for name, value in run["recovery_percent"].items()),
        f"Peak condenser load {run['peak_condenser_load_w']:.0f} W; boil-over "
        f"{'likely' if run['boil_over'] else 'not expected'}.",
        *run.get("findings", ()),
    ]
    return Reply("\n".join(lines), plain(run))


def _ending(run: Mapping[str, Any], longest: float) -> str:
    """How a predicted run ends."""
    if run["finished"]:
        return f"Finished in {run['run_time_min']:.1f} min."
    stopped = run["trace"]["time_min"][-1]
    return (f"Stopped after {stopped:.1f} min before it was done." if stopped < 0.999 * longest
            else f"Not finished within {longest:g} min.")


def usual_setting(job: EvaporationJob) -> Setting:
    """For every factor what the sample and the equipment say; low end for the main ones."""
    sample = job.sample
    said: dict[str, float | str] = {
        "end_volume_ml": sample.end_volume_ml,
        "end_point_hold_min": job.equipment.end_point_hold_min,
    }
    if sample.keeper is not None:
        said |= {"keeper": sample.keeper.name, "keeper_volume_ml": sample.keeper.volume_ml}
    setting: Setting = {}
    for factor in job.factors:
        fixed = factor.first_value
        value = said.get(factor.name, fixed)
        usable = value in factor.choices if factor.choices else not factor.is_fixed
        setting[factor.name] = value if usable else fixed
    return setting


def propose(arguments: Namespace) -> Reply:
    """Propose trials and write their bench sheet."""
    output = None if arguments.output is None else Path(arguments.output)
    if output is not None:
        from experiments.bench_sheet import SHEET_FORMATS

        check_output(output, SHEET_FORMATS)
    session = open_session(arguments.store)
    count = arguments.n
    if count is None:
        count = service.load(session, arguments.dossier).job.limits.trials_per_batch
    with progress("learning") as step:
        dossier, trials = service.propose(session, arguments.dossier, count, step)
        written = (_write_sheet(dossier, output)
                   if output is not None and dossier.pending else "")
    data = {"trials": [_trial(t) for t in trials], "stop_reason": dossier.stop_reason}
    if trials:
        names = [f.name for f in dossier.job.factors]
        rows = [(t.id, *(shown(t.setting[n]) for n in names), f"{t.run_time_min['mean']:.0f}")
                for t in trials]
        lines = [columns(rows, ("trial", *names, "expected min")),
                 *(f"{t.id}: {t.reason}" for t in trials)]
    else:
        lines = [f"No trial proposed: {dossier.stop_reason}."]
    if written:
        lines.append(written)
    return Reply("\n".join(lines), data, is_yes=bool(trials))


def sheet(arguments: Namespace) -> Reply:
    """Write the bench sheet of the pending trials again; proposes nothing."""
    from experiments.bench_sheet import SHEET_FORMATS

    output = Path(arguments.output)
    check_output(output, SHEET_FORMATS)
    dossier = service.load(open_session(arguments.store), arguments.dossier)
    return Reply(_write_sheet(dossier, output),
                 {"trials": [t.id for t in dossier.pending], "file": arguments.output})


def _write_sheet(dossier: Dossier, path: Path) -> str:
    """Write the sheet of all pending trials; gives the sentence that says so."""
    from experiments.bench_sheet import trial_sheet, write_sheet

    write_sheet(trial_sheet(dossier, [t.id for t in dossier.pending]), path)
    return f"Bench sheet of {counted(len(dossier.pending), 'pending trial')} written to {path}"


def _trial(trial: Trial) -> dict[str, Any]:
    return {
        "id": trial.id, "setting": trial.setting, "reason": trial.reason,
        "run_time_min": plain(trial.run_time_min),
        "recovery_percent": plain(trial.recovery_percent),
    }


def record(arguments: Namespace) -> Reply:
    """Take a filled trial table."""
    data = (sys.stdin.buffer.read() if arguments.table == "-"
            else Path(arguments.table).read_bytes())
    session = open_session(arguments.store)
    dossier, table, ids = service.record_table(session, arguments.dossier, data)
    rejected = [{"row": r.row, "reason": r.reason, "cure": r.cure} for r in table.rejected]
    answer = {"accepted": ids, "rejected": rejected, "notes": list(table.notes)}
    if dossier is None:
        lines = [f"Row {r.row}: {r.reason} {r.cure}" if r.row else f"{r.reason} {r.cure}"
                 for r in table.rejected]
        raise Refusal("\n".join(lines), "Nothing was recorded.", answer)
    return Reply("\n".join([f"Recorded {', '.join(ids)}.", *table.notes]), answer)


def recommend(arguments: Namespace) -> Reply:
    """Recommend the fastest setting."""
    with progress("learning") as step:
        _, answer = service.recommend(open_session(arguments.store), arguments.dossier,
                                      not arguments.fastest, step)
    lines = [capital(answer.status) + ". " + answer.reason]
    if answer.setting is not None:
        lines.append(f"Setting: {shown_setting(answer.setting)}")
    elif answer.compromise is not None:
        lines.append(f"Best compromise: {shown_setting(answer.compromise.setting)}")
    data = plain({
        "status": answer.status, "setting": answer.setting, "compromise": answer.compromise,
        "fastest": answer.fastest, "run_time_min": answer.run_time_min,
        "recovery_percent": answer.recovery_percent, "probability": answer.probability,
        "boil_over_probability": answer.boil_over_probability,
        "reason": answer.reason, "remedies": list(answer.remedies),
        "findings": list(answer.findings),
    })
    lines.append(forecast_text(data))
    lines.append(f"Probability of meeting every target in time: {percent(answer.probability)}")
    lines += [f"- {r.sentence}" for r in answer.remedies]
    lines += answer.findings
    return Reply("\n".join(lines), data, is_yes=answer.status == "recommended")


def shown(value: float | str) -> str:
    """A factor's value for people."""
    return value if isinstance(value, str) else f"{value:g}"


def shown_setting(setting: Mapping[str, Any]) -> str:
    """A setting in one line."""
    return ", ".join(f"{name} = {shown(value)}" for name, value in setting.items())


def forecast_text(forecast: Mapping[str, Any]) -> str:
    """Run time and recoveries of a forecast as a small table."""
    parts = [("run time", "min", forecast["run_time_min"])]
    parts += [(name, "%", interval) for name, interval in forecast["recovery_percent"].items()]
    rows = [
        (name, *("-" if v[k] is None else f"{v[k]:.1f} {unit}" for k in ("mean", "low", "high")))
        for name, unit, v in parts
    ]
    return columns(rows, ("quantity", "mean", "low", "high"))


COMMANDS: dict[str, Callable[[Namespace], Reply]] = {
    "new": new, "window": window, "simulate": simulate, "propose": propose, "sheet": sheet,
    "record": record, "recommend": recommend, **LOGS, **RECORD, **TOOLS,
}
