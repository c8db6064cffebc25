"""The pages in the order of the job, and which of them make sense for a dossier. Pure."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

HOME = "dossiers"


@dataclass(frozen=True)
class Step:
    """One page: its file, its name in the menu, the question it answers, what it needs."""

    key: str
    title: str
    question: str
    icon: str
    section: str
    needs: tuple[str, ...] = ()

    @property
    def file(self) -> str:
        return f"steps/{self.key}.py"


@dataclass(frozen=True)
class Progress:
    """What a dossier already holds, as far as the order of the pages is concerned."""

    job: bool = False
    proposed: bool = False
    recorded: bool = False
    recommended: bool = False
    verified: bool = False
    closed: bool = False

    @property
    def facts(self) -> frozenset[str]:
        return frozenset(name for name, value in vars(self).items() if value)


JOB_SECTION, SIDE_SECTION = "The job, step by step", "Beside the job"

STEPS: tuple[Step, ...] = (
    Step(HOME, "Dossiers", "Which job are you working on?", "folder_open", ""),
    Step("job", "Job", "What has to be evaporated, and what must survive it?",
         "assignment", JOB_SECTION),
    Step("window", "Window", "What does physics allow?",
         "crop_free", JOB_SECTION, ("job",)),
    Step("trials", "Trials", "Which runs are worth doing next, and why?",
         "science", JOB_SECTION, ("job",)),
    Step("results", "Results", "What came back from the bench?",
         "edit_note", JOB_SECTION, ("job",)),
    Step("learn", "Learn", "What have the trials taught?",
         "school", JOB_SECTION, ("job", "recorded")),
    Step("recommend", "Recommend", "Which setting should be used?",
         "flag", JOB_SECTION, ("job",)),
    Step("verify", "Verify", "Does the setting hold up in replicate runs?",
         "fact_check", JOB_SECTION, ("job", "recommended")),
    Step("report", "Report", "What goes to the reviewer?",
         "description", JOB_SECTION, ("job",)),
    Step("whatif", "What-if", "What would this setting do?",
         "tune", SIDE_SECTION, ("job",)),
    Step("transfer", "Other vessel", "What changes with another vessel, fill or count?",
         "move_up", SIDE_SECTION, ("job", "recorded", "recommended")),
    Step("compare", "Compare", "Same or different?",
         "compare_arrows", SIDE_SECTION, ("job",)),
    Step("library", "Library", "Which methods are there already?",
         "library_books", SIDE_SECTION),
    Step("substance", "Properties", "What is known about this substance?",
         "water_drop", SIDE_SECTION),
)

WHAT_IS_MISSING = {
    "job": ("There is no finished job yet.", "job"),
    "recorded": ("No result has been entered yet.", "results"),
    "recommended": ("There is no recommended setting yet.", "recommend"),
}
"""For each fact a page may need: what to say, and the page that provides it."""
CLOSED = ("This dossier was closed before it had what this page needs; the page "
          "Report starts its next version.", "report")
"""What is said instead of a dossier to which nothing can be added."""

AFTER = {"job": "job", "trials": "proposed", "results": "recorded",
         "recommend": "recommended", "verify": "verified"}
"""The fact that tells that a page has done its work."""


def step(key: str) -> Step:
    """The step of that key; KeyError when there is none."""
    for found in STEPS:
        if found.key == key:
            return found
    raise KeyError(key)


def missing(key: str, facts: Collection[str]) -> tuple[str, str] | None:
    """What a page lacks, as a sentence and the page that helps; None when it may open."""
    for fact in step(key).needs:
        if fact not in facts:
            return CLOSED if "closed" in facts else WHAT_IS_MISSING[fact]
    return None


def is_done(key: str, facts: Collection[str]) -> bool:
    """Whether the page's own work is in the record."""
    return key in AFTER and AFTER[key] in facts


def neighbours(key: str) -> tuple[Step | None, Step | None]:
    """The steps before and after in the order of the job."""
    order = [s for s in STEPS if s.section == JOB_SECTION]
    place = next((i for i, s in enumerate(order) if s.key == key), None)
    if place is None:
        return None, None
    before = order[place - 1] if place else None
    after = order[place + 1] if place + 1 < len(order) else None
    return before, after


def next_step(facts: Collection[str]) -> Step:
    """Where the work of a dossier goes on."""
    for key in ("job", "trials", "results", "recommend", "verify"):
        if not is_done(key, facts):
            return step(key)
    return step("report")
