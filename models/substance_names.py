"""What a name can be: a registry number with a fault, a blend, a formula, several isomers.

The look-up tables of the libraries take the first substance that ever bore a name (toluidine
becomes the ortho isomer, petroleum ether benzene). A name that fits several substances is
therefore refused, and the reader told which it may be; nothing is chosen for him in silence.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

GREEK = {"α": "alpha-", "β": "beta-", "γ": "gamma-", "δ": "delta-", "ε": "epsilon-"}
PREFIXES = (
    "o-", "m-", "p-", "alpha-", "beta-", "gamma-", "delta-", "cis-", "trans-", "1-", "2-", "3-",
    "4-", "1,1-", "1,2-", "1,3-", "1,4-", "2,3-", "2,4-", "2,5-", "2,6-", "3,4-", "3,5-",
    "1,1,1-", "1,1,2-", "1,2,3-", "1,2,4-", "1,3,5-", "2,4,5-", "2,4,6-",
)
"""What tells isomers of one name apart."""
BLENDS = {
    "petroleumether": "n-pentane or n-hexane", "petroleumbenzine": "n-hexane",
    "petroleumbenzin": "n-hexane", "petroleumspirit": "n-hexane", "ligroin": "n-heptane",
    "ligroine": "n-heptane", "naphtha": "n-heptane", "whitespirit": "n-decane",
    "mineralspirits": "n-decane", "gasoline": "n-heptane", "petrol": "n-heptane",
    "kerosene": "n-dodecane", "kerosine": "n-dodecane", "diesel": "n-hexadecane",
    "hexanes": "n-hexane", "mixedhexanes": "n-hexane", "heptanes": "n-heptane",
    "isohexane": "2-methylpentane", "isoparaffin": "n-decane", "paraffinoil": "n-hexadecane",
    "mineraloil": "n-hexadecane", "whiteoil": "n-hexadecane", "turpentine": "alpha-pinene",
    "denaturedalcohol": "ethanol", "methylatedspirit": "ethanol", "methylatedspirits": "ethanol",
    "toxaphene": "one of its congeners", "aroclor": "one of its congeners",
}
"""Commercial cuts and blends, with a substance that boils like them (common practice)."""


def spelled(text: str) -> str:
    """A name as the libraries spell it: no stray blanks, Greek letters written out.

    Examples
    --------
    >>> spelled(" α-pinene ")
    'alpha-pinene'
    """
    for letter, word in GREEK.items():
        text = re.sub(f"{letter}-?", word, text)
    return unicodedata.normalize("NFKC", text).strip()


def registry_fault(text: str) -> str:
    """What is wrong with a text that looks like a CAS registry number, "" when nothing is.

    The last digit is the sum of the others, each times its place from the right, modulo 10.

    Examples
    --------
    >>> registry_fault("91-20-3")
    ''
    >>> registry_fault("91-20-4")
    'The CAS number 91-20-4 has a wrong digit: its last digit would be 3.'
    """
    found = re.fullmatch(r"(\d{2,7})-(\d\d)-(\d)", text)
    if found is None:
        return ""
    digits = found[1] + found[2]
    check = sum(int(d) * place for place, d in enumerate(reversed(digits), 1)) % 10
    if check == int(found[3]):
        return ""
    return f"The CAS number {text} has a wrong digit: its last digit would be {check}."


def blend(key: str) -> str:
    """Which substance boils like the commercial blend of that normalised name, "" for none."""
    return BLENDS.get(key, "")


def isomers(name: str, search: Callable[[str], Any]) -> dict[str, str]:
    """Names of isomers by CAS number that a name without numbers leaves open.

    Parameters
    ----------
    search : gives a record with ``CASs`` and ``common_name``, raises ValueError for no such name
    """
    found: dict[str, str] = {}
    if not name[:1].isalpha() or re.match(r"[a-zA-Z]{1,5}-|[^,]*\d", name):
        return found
    for prefix in PREFIXES:
        try:
            isomer = search(prefix + name)
        except (ValueError, KeyError, IndexError):
            continue
        found.setdefault(isomer.CASs, isomer.common_name or prefix + name)
    return found
