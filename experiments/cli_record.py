"""Commands that keep the record: lists, states, versions, transfer, audit."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path

from experiments import approval, service
from experiments.bootstrap import open_session
from experiments.cli_output import Reply, columns, progress
from experiments.job_differences import Difference, carried_results_words
from experiments.output_file import write_whole
from experiments.wording import counted


def listing(arguments: Namespace) -> Reply:
    """List all dossiers."""
    found = service.summaries(open_session(arguments.store))
    data = {"dossiers": [
        {"id": s.id, "title": s.title, "state": s.state, "trials": s.trials,
         "updated": s.updated} for s in found
    ]}
    if not found:
        return Reply("No dossiers yet. Start one with `boilwright new JOB.toml`.", data)
    rows = [(s.id, s.state, s.trials, s.title) for s in found]
    return Reply(columns(rows, ("id", "state", "trials", "title")), data)


def withdraw(arguments: Namespace) -> Reply:
    """Take a pending trial back."""
    session = open_session(arguments.store)
    service.withdraw(session, arguments.dossier, arguments.trial, arguments.reason)
    return Reply(f"Withdrew {arguments.trial}.", {"id": arguments.trial, "state": "withdrawn"})


def exclude(arguments: Namespace) -> Reply:
    """Keep a result out of the fit."""
    session = open_session(arguments.store)
    service.exclude(session, arguments.dossier, arguments.trial, arguments.reason)
    return Reply(f"Excluded {arguments.trial}.", {"id": arguments.trial, "state": "excluded"})


def include(arguments: Namespace) -> Reply:
    """Let an excluded result count again."""
    session = open_session(arguments.store)
    service.include(session, arguments.dossier, arguments.trial, arguments.reason)
    return Reply(f"{arguments.trial} counts again.",
                 {"id": arguments.trial, "state": "recorded"})


def move(arguments: Namespace) -> Reply:
    """Move a dossier to another state."""
    session = open_session(arguments.store)
    dossier = approval.change_state(session, arguments.dossier, arguments.state, arguments.reason)
    return Reply(f"Dossier {dossier.id} is now {dossier.state}.",
                 {"id": dossier.id, "state": dossier.state})


def authorise(arguments: Namespace) -> Reply:
    """Note who authorises a dangerous job."""
    session = open_session(arguments.store)
    dossier = service.authorise(session, arguments.dossier, arguments.by, arguments.reason)
    return Reply(f"Dossier {dossier.id} is authorised by {arguments.by}.",
                 {"id": dossier.id, "authorised": list(dossier.details.authorised)})


def revise(arguments: Namespace) -> Reply:
    """Start the next version of a dossier."""
    session = open_session(arguments.store)
    job = None if arguments.job is None else Path(arguments.job)
    dossier = approval.new_version(session, arguments.dossier, job, arguments.reason)
    start = dossier.events[0].payload
    old = service.load(session, arguments.dossier)
    lines = [f"Started dossier {dossier.id}, version {dossier.version} of {arguments.dossier}.",
             carried_results_words(start)]
    lines += [approval.staying_words(old)] if old.pending else []
    lines += [Difference(**c).sentence for c in start["changes"]]
    return Reply("\n".join(lines), {
        "id": dossier.id, "version": dossier.version, "previous": arguments.dossier,
        "changes": start["changes"], "results_carried": start["results_carried"],
        "staying": [t.id for t in old.pending],
    })


def export(arguments: Namespace) -> Reply:
    """Write a dossier to one file."""
    from experiments.transfer import export_dossier

    data = export_dossier(open_session(arguments.store), arguments.dossier)
    write_whole(Path(arguments.output), data)
    return Reply(f"Exported {arguments.dossier} to {arguments.output}",
                 {"id": arguments.dossier, "file": arguments.output, "bytes": len(data)})


def bring_in(arguments: Namespace) -> Reply:
    """Read a dossier from such a file."""
    from experiments.transfer import import_dossier

    data = Path(arguments.file).read_bytes()
    found = import_dossier(open_session(arguments.store), data)
    text = (f"Imported dossier {found.id}" if found.new else
            f"Dossier {found.id} was here already, with all that the file holds.")
    return Reply(text, {"id": found.id, "events": found.new})


def back_up(arguments: Namespace) -> Reply:
    """Write all dossiers to one file."""
    from experiments.backup import back_up

    session = open_session(arguments.store)
    with progress("backing up"):
        data = back_up(session)
        write_whole(Path(arguments.output), data)
    count = len(service.summaries(session))
    return Reply(f"Backed up {counted(count, 'dossier')} to {arguments.output}",
                 {"dossiers": count, "file": arguments.output, "bytes": len(data)})


def restore(arguments: Namespace) -> Reply:
    """Take every dossier of a backup into the store."""
    from experiments.backup import restore

    with progress("restoring"):
        done = restore(open_session(arguments.store), Path(arguments.file).read_bytes())
    lines = [f"Restored {counted(len(done.ids), 'dossier')}."]
    lines += [f"Left {name} alone: {why}" for name, why in done.refused.items()]
    return Reply("\n".join(lines), {"ids": list(done.ids), "refused": done.refused},
                 is_yes=not done.refused)


def audit(arguments: Namespace) -> Reply:
    """Verify the history of every dossier."""
    checks = service.audit(open_session(arguments.store))
    broken = [(name, check) for name, check in checks.items() if not check.holds]
    events = sum(c.events for c in checks.values())
    data = {
        "holds": not broken, "events": events,
        "first_broken": broken[0][1].first_broken if broken else None,
        "dossier": broken[0][0] if broken else None,
        "dossiers": [{"id": name, "holds": c.holds, "events": c.events,
                      "first_broken": c.first_broken} for name, c in checks.items()],
    }
    if not broken:
        return Reply(f"The history of {counted(len(checks), 'dossier')} "
                     f"({counted(events, 'event')}) holds.", data)
    lines = [f"The history of dossier {name} is broken at event {check.first_broken}."
             for name, check in broken]
    return Reply("\n".join([*lines, "Restore the store from a backup."]), data, is_yes=False)


RECORD: dict[str, Callable[[Namespace], Reply]] = {
    "list": listing, "withdraw": withdraw, "exclude": exclude, "include": include, "move": move,
    "authorise": authorise, "revise": revise, "export": export, "import": bring_in,
    "backup": back_up, "restore": restore, "audit": audit,
}
