"""The one-page method sheet for the bench."""

from __future__ import annotations

from experiments.answers import Answer
from experiments.authorisation import job_cautions
from experiments.dossier import Dossier
from experiments.job import Setting
from experiments.report.blocks import Block, Bullets, Paragraph, TableBlock
from experiments.report.words import factor_words, number, value_words


def method_sheet(dossier: Dossier, answer: Answer, shown: Setting | None) -> tuple[Block, ...]:
    """Settings, steps, what to expect, cautions."""
    job = dossier.job
    if answer.setting is None or shown is None:
        return (Paragraph("There is no recommended setting yet, so there is no method to follow. "
                          f"{answer.reason}", "strong"),)
    keeper = job.sample.keeper
    steps = [
        f"Load {job.equipment.vessels} vessels with {job.sample.fill_volume_ml:g} mL each; "
        "balance them.",
        *([f"Add {keeper.volume_ml:g} mL {keeper.name} to each vessel."] if keeper else []),
        f"Check that the condenser is at {job.equipment.condenser_temperature_c:g} degC, empty.",
        "Bring the rotor to full speed before applying vacuum.",
        f"Start the program below; expect {number(answer.run_time_min.low)} to "
        f"{number(answer.run_time_min.high)} min.",
        "Vent before slowing the rotor; look at every vessel, and note residue and volume.",
    ]
    rows = tuple((factor_words(n), value_words(v)) for n, v in shown.items())
    blocks: list[Block] = [
        Paragraph(f"{job.title}: dossier {dossier.id}, version {dossier.version}, state "
                  f"{dossier.state}", "strong"),
        TableBlock("Program", ("setting", "value"), rows, "lr"),
        Bullets(tuple(steps)),
    ]
    blocks += [Paragraph(f"{f.message} {f.cure}".strip(), "caution")
               for f in job_cautions(job) if f.severity != "info"][:4]
    blocks.append(Paragraph("Follow the equipment's manual, local codes and the laboratory's "
                            "licensed safety practice.", "note"))
    return tuple(blocks)
