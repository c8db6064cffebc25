"""Jobs that can hurt someone wait until a named person has authorised them in the record.

The cautions are of :mod:`models.cautions`; those of severity "stop" hold the first proposal
back. An authorisation names who gave it and why, and ends when the job changes.
"""

from __future__ import annotations

from experiments.dossier import Dossier
from experiments.entries import EntryError, checked_text
from experiments.job import EvaporationJob
from models.cautions import cautions
from models.errors import Finding
from models.quantities import kelvin


def job_cautions(job: EvaporationJob) -> tuple[Finding, ...]:
    """Every caution that the substances of a job call for."""
    sample = job.sample
    return cautions(
        [s.name for s in sample.solvents], job.keepers,
        [a.name for a in job.analytes], job.may_go_dry, sample.peroxide_test,
        {a.name: a.smiles for a in job.analytes if a.smiles},
        kelvin(job.equipment.condenser_temperature_c),
    )


def unauthorised(dossier: Dossier) -> tuple[Finding, ...]:
    """Cautions that stop the job until a named person authorises it."""
    given = set(dossier.details.authorised)
    return tuple(f for f in job_cautions(dossier.job)
                 if f.severity == "stop" and f.code not in given)


def must_be_authorised(dossier: Dossier) -> None:
    """Refuse, with EntryError, a job that still waits for its authorisation."""
    waiting = unauthorised(dossier)
    if waiting:
        raise EntryError(
            " ".join(f.message for f in waiting),
            f"{waiting[0].cure} Then record who authorised it: "
            f"boilwright authorise {dossier.id} --by NAME --reason TEXT.",
        )


def authorise(dossier: Dossier, by: str, reason: str) -> None:
    """Note that a named person authorises the job in spite of its dangers."""
    waiting = unauthorised(dossier)
    name, why = checked_text(by, "The name").strip(), checked_text(reason, "The reason").strip()
    if not waiting:
        raise EntryError("This job needs no authorisation.", "Go on with the trials.")
    if not name or not why:
        raise EntryError("An authorisation needs a name and a reason.",
                         "Say who authorises the job and on what grounds.")
    dossier.note_event("authorised", {
        "codes": [f.code for f in waiting], "messages": [f.message for f in waiting],
        "by": name, "reason": why,
    })
