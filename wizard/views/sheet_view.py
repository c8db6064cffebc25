"""The bench sheet to take along."""

from __future__ import annotations

from experiments.dossier import Dossier
from experiments.verification_plan import VerificationPlan
from wizard.session import WizardSession


def bench_sheet(session: WizardSession, dossier: Dossier) -> None:
    """Offer the sheet of the pending trials as PDF, XLSX and CSV."""


def verification_sheet(session: WizardSession, dossier: Dossier, made: VerificationPlan) -> None:
    """Offer the sheet of the verification runs."""
