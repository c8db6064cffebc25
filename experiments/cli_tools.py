"""Commands around the main line: verification, report, properties, benchmark, wizard."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path
from typing import Any

from experiments import approval, service
from experiments.bootstrap import open_session
from experiments.cli_output import (
    Reply,
    check_output,
    columns,
    progress,
)
from experiments.dossier import Dossier
from experiments.entries import EntryError
from experiments.json_data import plain
from experiments.output_file import write_whole
from experiments.storage.protocol import UnknownDossier
from experiments.substance_text import point_lines, substance_sentences
from experiments.wording import capital, counted, listed, percent


def verify(arguments: Namespace) -> Reply:
    """Plan the confirmation runs with their bench sheet, or judge those that were made."""
    session = open_session(arguments.store)
    if arguments.output is not None:
        if arguments.table or arguments.learn:
            raise EntryError("-o writes the sheet of runs still to be made; a table or --learn is "
                             "for runs that were made.", "Leave one of them out.")
        return _verification_sheet(session, arguments.dossier, Path(arguments.output))
    dossier = service.load(session, arguments.dossier)
    data = Path(arguments.table).read_bytes() if arguments.table else None
    with progress("judging the runs"):
        from experiments.verification_entry import verify_dossier

        found = verify_dossier(session, dossier, data)
        result = plain(found.as_json())
    decision = result["decision"]
    if data is not None and decision == "pass":
        _note_verified(session, arguments.dossier, result.get("reason", ""))
    rows = [(c.title, c.outcome_words, c.sentence) for c in found.criteria]
    text = f"Decision: {decision}\n" + columns(rows, ("criterion", "outcome", "why"))
    if result.get("chance_of_passing") is not None:
        text += f"\nChance of passing as planned: {percent(result['chance_of_passing'])}"
    if arguments.learn:
        return _learn(session, arguments.dossier, text, result)
    return Reply(text, result, is_yes=decision == "pass")


def _verification_sheet(session: service.Session, dossier_id: str, path: Path) -> Reply:
    """Write the sheet of the plan that stands; where none does, plan first."""
    from experiments.bench_sheet import SHEET_FORMATS, verification_sheet, write_sheet
    from experiments.verification_entry import plan_verification
    from experiments.verification_runs import planned

    check_output(path, SHEET_FORMATS)
    dossier = service.load(session, dossier_id)
    made = planned(dossier)
    if made is None:
        with progress("planning"):
            dossier, made = plan_verification(session, dossier_id)
    write_sheet(verification_sheet(dossier, made), path)
    design = f"{counted(made.criteria.runs, 'run')} on {counted(made.criteria.days, 'day')}"
    text = (f"{design}, which pass with a chance of {percent(made.chance_of_passing)}\n"
            f"Bench sheet written to {path}")
    return Reply(text, {"setting": made.setting, "chance_of_passing": made.chance_of_passing,
                        "runs": [plain(r) for r in made.runs], "file": str(path)})


def _learn(
    session: service.Session, dossier_id: str, text: str, result: dict[str, Any]
) -> Reply:
    """Take the runs that failed over as trials, and say which trials they became."""
    from experiments.verification_entry import learn_from_verification

    ids = learn_from_verification(session, dossier_id)[1]
    said = f"The runs are trials now, which the forecasts learn from: {listed(ids, 12)}."
    return Reply(f"{text}\n{said}", {**result, "learnt_as": ids})


def _note_verified(session: service.Session, dossier_id: str, reason: str) -> None:
    if service.load(session, dossier_id).state == "recommended":
        approval.change_state(session, dossier_id, "verified", reason)


def robustness(arguments: Namespace) -> Reply:
    """Plan a robustness study with its bench sheet, or analyse one that was run."""
    session = open_session(arguments.store)
    if arguments.output is not None:
        return _plan_robustness(session, arguments.dossier, Path(arguments.output))
    with progress("analysing"):
        from experiments.robustness import ORIGIN, analyse_robustness

        dossier = service.load(session, arguments.dossier)
        found = analyse_robustness(dossier)
    if found is None:
        missing = [t.id for t in dossier.pending if t.origin == ORIGIN]
        text = (f"Not recorded yet: {', '.join(missing)}." if missing else
                "No robustness study was run; plan one with -o SHEET.")
        return Reply(text, {"verdict": None, "missing": missing}, is_yes=False)
    lines = [*(c.sentence for c in found.corners), *found.untold, *found.failed_runs,
             *(e.sentence for e in found.effects)]
    return Reply("\n".join(lines), plain({
        "verdict": "holds" if found.holds else "not shown", "setting": found.setting,
        "trials": found.trials, "corners": found.corners, "effects": found.effects,
        "failed_runs": found.failed_runs, "untold": found.untold,
    }), is_yes=found.holds)


def _plan_robustness(session: service.Session, dossier_id: str, path: Path) -> Reply:
    from experiments.bench_sheet import SHEET_FORMATS, trial_sheet, write_sheet

    check_output(path, SHEET_FORMATS)
    with progress("planning"):
        dossier, trials = service.plan_robustness(session, dossier_id)
        write_sheet(trial_sheet(dossier, [t.id for t in trials]), path)
    lines = [*(f"{t.id}: {t.reason}" for t in trials), f"Bench sheet written to {path}"]
    return Reply("\n".join(lines), {"trials": [
        {"id": t.id, "setting": t.setting, "reason": t.reason} for t in trials]})


def report(arguments: Namespace) -> Reply:
    """Write the justification."""
    from experiments.report import FORMATS

    path = Path(arguments.output)
    check_output(path, FORMATS)
    with progress("writing the report") as step:
        data = service.report(open_session(arguments.store), arguments.dossier,
                              path.suffix.lower(), step)
    write_whole(path, data)
    return Reply(f"Report written to {path}", {"id": arguments.dossier, "file": str(path)})


def recompute(arguments: Namespace) -> Reply:
    """Compute the recommendation of a report again and compare."""
    from experiments.recompute import recompute as again
    from experiments.report.digits import setting_words

    files = [Path(f).read_bytes() for f in (arguments.file, arguments.other) if f is not None]
    with progress("computing again") as step:
        found = again(*files, progress=step)
    answer = found.answer
    lines = [
        f"Dossier {found.dossier.id}, record {found.dossier.events[-1].seq} "
        f"({found.dossier.events[-1].hash[:10]}).",
        f"{capital(answer.status)}"
        + (f": {setting_words(found.dossier.job, answer.setting)}."
           if answer.setting is not None else "."),
        f"Probability of meeting every target in time: {percent(answer.probability)}",
    ]
    if found.reported is None:
        lines.append("There are no numbers of a report to compare with.")
    elif not found.differences:
        lines.append("The report says the same.")
    lines += [*found.differences, *(found.notes if found.differences else ())]
    return Reply("\n".join(lines), plain({
        "dossier": found.dossier.id, "status": answer.status, "setting": answer.setting,
        "probability": answer.probability, "reported": found.reported,
        "agrees": None if found.reported is None else not found.differences,
        "differences": list(found.differences), "notes": list(found.notes),
    }), is_yes=not found.differences)


def transfer(arguments: Namespace) -> Reply:
    """Predict the method of a dossier under a changed job."""
    from experiments.job_file import parse

    job = parse(Path(arguments.job))
    dossier = service.load(open_session(arguments.store), arguments.dossier)
    with progress("predicting the change"):
        from experiments.method_transfer import predict_transfer

        found = predict_transfer(dossier, job)
    rows = [("run time, min", *(f"{t.mean:.0f}" for t in found.run_time_min))]
    rows += [(f"{name}, %", f"{a.mean:.1f}", f"{b.mean:.1f}")
             for name, (a, b) in found.recovery_percent.items()]
    lines = [*found.changes, columns(rows, ("", "now", "changed")), *found.sentences]
    return Reply("\n".join(lines), plain(found))


def compare(arguments: Namespace) -> Reply:
    """Compare trials, or dossiers."""
    session = open_session(arguments.store)
    dossier = service.load(session, arguments.dossier)
    known = {t.id for t in dossier.trials}
    with progress("comparing"):
        from experiments.comparison import compare_dossiers, compare_trials
        from experiments.differences import ALLOWANCE

        if not arguments.others or known & set(arguments.others):
            found = compare_trials(dossier, arguments.others)
        else:
            others = [_loaded(session, o, known) for o in arguments.others]
            found = compare_dossiers(dossier, others)
    result = plain(found)
    lines = [d.sentence for d in found.differences]
    lines += [ALLOWANCE] if len(lines) > 1 else []
    lines += found.sentences
    return Reply("\n".join(lines) or "Nothing to compare yet.", result)


def _loaded(session: service.Session, name: str, trials: set[str]) -> Dossier:
    """The dossier of that id, which is no trial of the first one either."""
    try:
        return service.load(session, name)
    except UnknownDossier:
        raise EntryError(f"There is no trial and no dossier {name[:40]!r}.",
                         f"Trials: {listed(sorted(trials, key=lambda t: (len(t), t)), 12)}; "
                         "`boilwright list` shows the dossiers.") from None


def substance(arguments: Namespace) -> Reply:
    """Show property values with their sources."""
    if arguments.figure is not None:
        check_output(arguments.figure, (".svg", ".png"))
    with progress("looking up"):
        from models.properties import describe_substance
        from models.quantities import kelvin

        found = plain(describe_substance(arguments.name, kelvin(arguments.temperature_c)))
    lines = substance_sentences(found, arguments.temperature_c)
    data = point_lines(found)
    if data:
        lines += ["Data behind the curve:", columns(data, ("degC", "Pa", "source"))]
    if arguments.figure is not None:
        from experiments.report.look import png, svg
        from experiments.report.property_chart import property_chart

        chart = property_chart(found)
        write_whole(arguments.figure,
                    png(chart) if arguments.figure.suffix == ".png" else svg(chart).encode())
        lines.append(f"Figure: {arguments.figure}")
    return Reply("\n".join(lines), found)


def mixture(arguments: Namespace) -> Reply:
    """Show bubble point, vapour and azeotrope of a mixture."""
    parts = _parts(arguments.parts)
    with progress("looking up"):
        from models.mixture import describe_mixture
        from models.quantities import pascal

        found = plain(describe_mixture(parts, pascal(arguments.pressure_mbar)))
    azeotrope = found["azeotrope"]
    pressure = arguments.pressure_mbar
    lines = [f"Boils at {found['bubble_point_c']:.2f} degC under {pressure:g} mbar."]
    rows = [(n, f"{parts[n]:.4f}", f"{found['vapour_mole_fraction'][n]:.4f}",
             f"{found['activity_coefficient'][n]:.4f}") for n in parts]
    lines.append(columns(rows, ("component", "liquid", "vapour", "activity coefficient")))
    if azeotrope is None:
        lines.append("No azeotrope at this pressure.")
    else:
        shares = ", ".join(f"{n} {x:.3f}" for n, x in azeotrope["mole_fraction"].items())
        lines.append(f"Azeotrope at {azeotrope['temperature_c']:.2f} degC: {shares}")
    return Reply("\n".join([*lines, *found["warnings"]]), found)


def _parts(words: list[str]) -> dict[str, float]:
    parts: dict[str, float] = {}
    for word in words:
        name, _, share = word.rpartition("=")
        try:
            value = float(share)
        except ValueError:
            value = -1.0
        if not name or not 0.0 <= value <= 1.0:
            raise EntryError(f"{word!r} is not NAME=MOLE_FRACTION.",
                             'Write for example "acetone=0.6".')
        if name in parts:
            raise EntryError(f"{name!r} stands twice.", "Merge the two.")
        parts[name] = value
    return parts


def benchmark(arguments: Namespace) -> Reply:
    """Play simulated benches against other strategies."""
    if arguments.benches < 1:
        raise EntryError(f"{arguments.benches} benches cannot be played.", "Ask for 1 or more.")
    with progress("playing benches") as step:
        from experiments import studies

        if arguments.quick:
            result = studies.quick(arguments.benches, progress=step)
        else:
            result = studies.full(arguments.benches, dask=arguments.dask, progress=step)
    return Reply(result["text"], plain(result))


def example(arguments: Namespace) -> Reply:
    """Load the example dossiers."""
    from experiments import example_dossiers

    session = open_session(arguments.store)
    known = [e.key for e in example_dossiers.names()]
    chosen = [arguments.name] if arguments.name else known
    ids = [example_dossiers.load(session.store, name, session.user) for name in chosen]
    lines = [f"Loaded {n} as dossier {i}" for n, i in zip(chosen, ids, strict=True)]
    return Reply("\n".join(lines), {"ids": ids})


def doctor(arguments: Namespace) -> Reply:
    """Check the installation."""
    with progress("examining"):
        from experiments.doctor import examine

        checks = examine(arguments.store)
    rows = [
        ("well" if c.is_well else "ill", c.name, f"{c.detail} {c.cure}".strip()) for c in checks
    ]
    well = all(c.is_well for c in checks)
    return Reply(columns(rows, ("", "what", "detail")), {"well": well, "checks": plain(checks)},
                 is_yes=well)


def app(arguments: Namespace) -> Reply:
    """Open the wizard, in a process of its own so that nothing here imports it."""
    import subprocess
    import sys

    command = [sys.executable, "-m", "wizard.launch", "--port", str(arguments.port),
               "--host", arguments.host]
    command += ["--store", arguments.store] if arguments.store else []
    command += ["--no-browser"] if arguments.no_browser else []
    code = subprocess.call(command)
    if code == 2:
        raise EntryError("The wizard was not opened.", "See the line above.")
    return Reply("The wizard was closed.", {"exit": code}, is_yes=code == 0)


TOOLS: dict[str, Callable[[Namespace], Reply]] = {
    "verify": verify, "robustness": robustness, "report": report, "recompute": recompute,
    "transfer": transfer, "compare": compare, "substance": substance, "mixture": mixture,
    "benchmark": benchmark, "example": example, "doctor": doctor, "app": app,
}
