"""What pages ask of a dossier, worked out once for each state of its record."""

from __future__ import annotations

from operator import itemgetter

from experiments import service
from experiments.answers import Answer
from experiments.dossier import Dossier
from experiments.fitted import Fitted, fit
from experiments.job import Setting
from experiments.operating_map import WindowMap, window_map
from experiments.region import Region, operating_region, why_no_region
from wizard import waiting
from wizard.session import WizardSession, digest


def record_key(dossier: Dossier) -> str:
    """A digest of all an answer can rest on: job, counted results, logs, what was carried."""
    counted = [(t.id, t.setting, t.result, t.log) for t in dossier.recorded]
    return digest(dossier.job, dossier.details.carried, sorted(counted, key=itemgetter(0)))


def fitted(dossier: Dossier) -> Fitted | None:
    """The job with what its trials taught; None when the reader stopped it."""
    label = "Learning from the trials" if dossier.recorded else "Preparing the physics"
    return waiting.answer("fit", record_key(dossier), label, lambda p: dossier.fitted(p))


def untaught(dossier: Dossier) -> Fitted | None:
    """The job as before any trial: physics, and what was carried over."""
    carried = dossier.details.carried
    return waiting.answer("untaught", digest(dossier.job, carried), "Preparing the physics",
                          lambda p: fit(dossier.job, [], carried=carried, progress=p))


def operating_map(
    dossier: Dossier, ramp: float, around: Setting | None = None, before: bool = False
) -> WindowMap | None:
    """The operating map at a ramp rate, with what is known now or as before any trial.

    Around a setting it is finest, and the factors off the map stay as they are there.
    """
    found = untaught(dossier) if before else fitted(dossier)
    if found is None:
        return None
    rests_on = digest(dossier.job, dossier.details.carried) if before else record_key(dossier)
    key = digest(rests_on, ramp, sorted((around or {}).items()))
    return waiting.answer("map", key, "Drawing the operating map",
                          lambda p: window_map(found, ramp, around=around, progress=p))


def recommendation(session: WizardSession, dossier: Dossier) -> Answer | None:
    """The recommendation as things stand; noted in the record where it is new there."""
    if fitted(dossier) is None:
        return None
    answer = waiting.answer("recommend", record_key(dossier), "Searching the window",
                            lambda p: service.searched(dossier, progress=p))
    if answer is not None:
        service.note_answer(session.service, dossier, answer)
    return answer


def region(dossier: Dossier, answer: Answer) -> Region | None:
    """The operating region around the recommended setting; None without one."""
    found = fitted(dossier)
    setting = answer.setting
    if found is None or setting is None or why_no_region(found, setting):
        return None
    return waiting.answer("region", digest(record_key(dossier), sorted(setting.items())),
                          "Mapping the operating region",
                          lambda p: operating_region(found, setting, p))
