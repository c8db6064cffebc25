"""The line of a dossier in the lists of a store, found again by what it is of."""

from __future__ import annotations

from typing import Any

from experiments.dossier import Dossier
from experiments.storage.protocol import Summary


def summarise(dossier: Dossier) -> Summary:
    """The line of a dossier in the list."""
    job = dossier.job
    keeper = job.sample.keeper.name if job.sample.keeper else ""
    return Summary(
        id=dossier.id, title=job.title, state=dossier.state,
        trials=sum(t.state != "withdrawn" for t in dossier.trials),
        revision=len(dossier.events), updated=dossier.events[-1].at,
        facts={
            "solvents": [s.name for s in job.sample.solvents],
            "analytes": [a.name for a in job.analytes],
            "keeper": keeper, "equipment": job.equipment.name, "version": dossier.version,
            **_method(dossier),
        },
    )


def _method(dossier: Dossier) -> dict[str, Any]:
    """Setting and run time of the recommendation in the record, while there is one.

    ``is_refuted`` tells that verification runs of it failed.
    """
    noted = dossier.details.recommendation
    if noted is None or not noted.get("setting"):
        return {}
    found = {"setting": dict(noted["setting"]), "run_time_min": noted["run_time_min"]["mean"]}
    if dossier.details.verification:
        from experiments.verification import why_it_failed

        found["is_refuted"] = bool(why_it_failed(dossier, found["setting"]))
    return found
