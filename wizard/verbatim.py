"""Text of users on a page: shown as it was typed, never read as Markdown.

A name such as ``dibenz[a,h](1,4)oxazine`` would otherwise become a link, ``a*b*c`` lose its
stars, and ``![](http://...)`` have every reader's browser fetch a picture from elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import pandas as pd

_SPECIAL = re.compile(r"[\\`*_\[\]<>#$~|!&:]")
_SIGN = re.compile(r"(?<=\d) (?=[%°])")
_LINES = re.compile(r"\s*[\r\n]+\s*")


def verbatim(text: object) -> str:
    r"""The text with everything escaped that Markdown would act on, on one line.

    >>> print(verbatim("benz[a]pyrene *"))
    benz\[a\]pyrene \*
    """
    one_line = _SIGN.sub("\u00a0", _LINES.sub(" ", str(text)))  # no line begins with its sign
    return _SPECIAL.sub(r"\\\g<0>", one_line)


def literal(lines: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Lines as a frame for ``st.table``, which reads Markdown in cells and headings."""
    return pd.DataFrame([
        {verbatim(k): verbatim(v) if isinstance(v, str) else v for k, v in line.items()}
        for line in lines
    ])
