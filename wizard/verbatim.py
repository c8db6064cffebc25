"""Text of users on a page: shown as it was typed, never read as Markdown.

A name such as ``dibenz[a,h](1,4)oxazine`` would otherwise become a link, ``a*b*c`` lose its
stars, and ``![](http://...)`` have every reader's browser fetch a picture from elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import pandas as pd

from experiments.wording import unbroken

_SPECIAL = re.compile(r"[\\`*_\[\]<>#$~|!&:]")
_RANGE = re.compile(r"(?<=\()[−\d.,]+ to [−\d.,]+(?=\))")
_LINES = re.compile(r"\s*[\r\n]+\s*")


def verbatim(text: object) -> str:
    r"""The text with everything escaped that Markdown would act on, on one line.

    No line of the page ends between a number and its unit, or inside a range in brackets.

    >>> print(verbatim("benz[a]pyrene *"))
    benz\[a\]pyrene \*
    """
    one_line = unbroken(_LINES.sub(" ", str(text)))
    one_line = _RANGE.sub(lambda found: found[0].replace(" ", "\u00a0"), one_line)
    return _SPECIAL.sub(r"\\\g<0>", one_line)


def literal(lines: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Lines as a frame for ``st.table``, which reads Markdown in cells and headings."""
    return pd.DataFrame([
        {verbatim(k): verbatim(v) if isinstance(v, str) else v for k, v in line.items()}
        for line in lines
    ])
