"""Cautions and findings: a sign, a word and a sentence; never colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import streamlit as st

from models.cautions import cautions
from models.errors import Finding
from wizard.units import Units
from wizard.verbatim import verbatim
from wizard.view_models.findings_text import FindingLine, finding_lines, job_substances

DEFER = ("These are the usual cautions, not all there can be: follow the equipment's manual, "
         "local codes and your laboratory's licensed safety practice.")


def cautions_of_job(draft: Mapping[str, Any], units: Units) -> None:
    """What the substances of a job, also a half-written one, call for."""
    asked = job_substances(draft)
    if not asked.solvents:
        return
    findings = cautions(asked.solvents, asked.keepers, asked.analytes, asked.to_dryness,
                        asked.peroxide_test, asked.structures, asked.condenser_temperature_k)
    if findings:
        show_findings(findings, units, "Cautions")
        st.caption(DEFER)


def show_findings(findings: Iterable[Finding], units: Units, title: str) -> None:
    """Findings, the gravest first."""
    lines = finding_lines(findings, units)
    if not lines:
        return
    with st.container(border=True):
        st.subheader(title, anchor=False)
        for line in lines:
            st.markdown(_markdown(line))


def _markdown(line: FindingLine) -> str:
    lead = f"{line.sign} **{line.word}.** " if line.word else f"{line.sign} "
    return f"{lead}{verbatim(line.text)}"
