"""Commands around the main line: report, verification, transfer, properties, tools."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path

from experiments import service
from experiments.bootstrap import open_session
from experiments.cli_output import Reply, UserFault, columns, plain, progress
from models.quantities import kelvin, pascal


def verify(arguments: Namespace) -> Reply:
    from experiments.verification import verify_dossier

    session = open_session(arguments.store)
    dossier = service.load(session, arguments.dossier)
    data = Path(arguments.table).read_bytes() if arguments.table else None
    result = plain(verify_dossier(session, dossier, data))
    rows = [(c["name"], c["outcome"], c["sentence"]) for c in result["criteria"]]
    text = f"Decision: {result['decision']}\n" + columns(rows, ("criterion", "outcome", "why"))
    if result.get("chance_of_passing") is not None:
        text += f"\nChance of passing as planned: {100 * result['chance_of_passing']:.0f} %"
    return Reply(text, result, is_yes=result["decision"] == "pass")


def report(arguments: Namespace) -> Reply:
    from experiments.report import write_report

    session = open_session(arguments.store)
    dossier = service.load(session, arguments.dossier)
    path = Path(arguments.output)
    with progress("writing the report") as step:
        write_report(dossier, path, progress=step)
    session.store.note(session.clock(), session.user.name, "report",
                       {"dossier": dossier.id, "format": path.suffix})
    return Reply(f"Report written to {path}", {"id": dossier.id, "file": str(path)})


def compare(arguments: Namespace) -> Reply:
    from experiments.comparison import compare_dossiers, compare_trials

    session = open_session(arguments.store)
    dossier = service.load(session, arguments.dossier)
    trials = [o for o in arguments.others if any(t.id == o for t in dossier.trials)]
    if len(trials) == len(arguments.others):
        found = compare_trials(dossier, trials)
    else:
        others = [service.load(session, o) for o in arguments.others]
        found = compare_dossiers(dossier, others)
    result = plain(found)
    lines = [d["sentence"] for d in result["differences"]]
    return Reply("\n".join(lines) or "Nothing to compare yet.", result)


def export(arguments: Namespace) -> Reply:
    from experiments.transfer import export_dossier

    data = export_dossier(open_session(arguments.store), arguments.dossier)
    Path(arguments.output).write_bytes(data)
    return Reply(f"Exported {arguments.dossier} to {arguments.output}",
                 {"id": arguments.dossier, "file": arguments.output, "bytes": len(data)})


def bring_in(arguments: Namespace) -> Reply:
    from experiments.transfer import import_dossier

    dossier_id = import_dossier(open_session(arguments.store), Path(arguments.file).read_bytes())
    return Reply(f"Imported dossier {dossier_id}", {"id": dossier_id})


def substance(arguments: Namespace) -> Reply:
    from models.properties import describe_substance

    found = plain(describe_substance(arguments.name, kelvin(arguments.temperature_c)))
    lines = [f"{key}: {value}" for key, value in found.items() if not isinstance(value, list)]
    return Reply("\n".join(lines), found)


def mixture(arguments: Namespace) -> Reply:
    from models.mixture import describe_mixture

    parts: dict[str, float] = {}
    for part in arguments.parts:
        name, _, share = part.rpartition("=")
        try:
            parts[name] = float(share)
        except ValueError:
            raise UserFault(f"{part!r} is not NAME=MOLE_FRACTION.",
                            'Write for example "acetone=0.6".') from None
    found = plain(describe_mixture(parts, pascal(arguments.pressure_mbar)))
    azeotrope = found["azeotrope"]
    boils = found["bubble_point_c"]
    lines = [f"Boils at {boils:.2f} degC under {arguments.pressure_mbar:g} mbar."]
    rows = [(n, f"{parts[n]:.4f}", f"{found['vapour_mole_fraction'][n]:.4f}",
             f"{found['activity_coefficient'][n]:.4f}") for n in parts]
    lines.append(columns(rows, ("component", "liquid", "vapour", "activity coefficient")))
    if azeotrope is None:
        lines.append("No azeotrope at this pressure.")
    else:
        shares = ", ".join(f"{n} {x:.3f}" for n, x in azeotrope["mole_fraction"].items())
        lines.append(f"Azeotrope at {azeotrope['temperature_c']:.2f} degC: {shares}")
    return Reply("\n".join([*lines, *found["warnings"]]), found)


def benchmark(arguments: Namespace) -> Reply:
    from experiments import studies

    with progress("playing benches") as step:
        if arguments.quick:
            result = studies.quick(arguments.benches, progress=step)
        else:
            result = studies.full(arguments.benches, dask=arguments.dask, progress=step)
    return Reply(result["text"], plain(result))


def example(arguments: Namespace) -> Reply:
    from experiments import example_dossiers

    session = open_session(arguments.store)
    known = [e.key for e in example_dossiers.names()]
    chosen = [arguments.name] if arguments.name else known
    if arguments.name and arguments.name not in known:
        raise UserFault(f"There is no example {arguments.name!r}.", f"Use {' or '.join(known)}.")
    ids = [example_dossiers.load(session.store, name, session.user) for name in chosen]
    return Reply("\n".join(f"Loaded {n} as dossier {i}" for n, i in zip(chosen, ids, strict=True)),
                 {"ids": ids})


def doctor(arguments: Namespace) -> Reply:
    from experiments.doctor import examine

    checks = examine(arguments.store)
    rows = [("well" if c.is_well else "ill", c.name, c.detail) for c in checks]
    well = all(c.is_well for c in checks)
    cures = "".join(f"\n{c.name}: {c.cure}" for c in checks if not c.is_well)
    return Reply(columns(rows, ("", "what", "detail")) + cures,
                 {"well": well, "checks": plain(checks)}, is_yes=well)


def app(arguments: Namespace) -> Reply:
    import subprocess
    import sys

    # a child process, so that nothing here imports the wizard
    command = [sys.executable, "-m", "wizard.launch", "--port", str(arguments.port)]
    command += ["--store", arguments.store] if arguments.store else []
    command += ["--no-browser"] if arguments.no_browser else []
    code = subprocess.call(command)  # noqa: S603 - our own module, arguments as a list
    return Reply("The wizard was closed.", {"exit": code}, is_yes=code == 0)


TOOLS: dict[str, Callable[[Namespace], Reply]] = {
    "verify": verify, "report": report, "compare": compare, "export": export,
    "import": bring_in, "substance": substance, "mixture": mixture, "benchmark": benchmark,
    "example": example, "doctor": doctor, "app": app,
}
