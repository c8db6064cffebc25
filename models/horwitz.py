"""Precision expected between laboratories at a concentration (Horwitz).

Sources: AOAC Official Methods, Appendix F (2012), annex D table D1: predicted relative
standard deviation between laboratories 2 C^-0.15 per cent, C a mass fraction; HorRat is the
found over the predicted; the ratio 0.66 of repeatability to reproducibility as in
Regulation (EU) 519/2014, annex II note.
"""

from __future__ import annotations

from models.errors import OutOfRange

REPEATABILITY_SHARE = 0.66


def predicted_rsd(mass_fraction: float) -> float:
    """Predicted relative standard deviation between laboratories, percent.

    Parameters
    ----------
    mass_fraction : of the analyte, above 0 up to 1

    Examples
    --------
    >>> round(predicted_rsd(1e-6), 2)
    15.89
    """
    if not 0.0 < mass_fraction <= 1.0:
        raise OutOfRange(f"A mass fraction of {mass_fraction:g} is not possible.",
                         "Give kg of analyte per kg of sample, above 0 up to 1.")
    return float(2.0 * mass_fraction**-0.15)


def predicted_repeatability_rsd(mass_fraction: float) -> float:
    """Predicted relative standard deviation within one laboratory, percent."""
    return REPEATABILITY_SHARE * predicted_rsd(mass_fraction)


def horrat(found_rsd: float, mass_fraction: float, *, repeatability: bool = True) -> float:
    """Found over predicted relative standard deviation; below 2 is usual.

    Parameters
    ----------
    found_rsd : percent
    mass_fraction : of the analyte
    repeatability : compare with the prediction within one laboratory
    """
    predict = predicted_repeatability_rsd if repeatability else predicted_rsd
    return found_rsd / predict(mass_fraction)
