"""How wide a line of text will be, so that it can be set before any browser has seen it.

Widths are those of the common sans-serif faces (Helvetica and the fonts made to its measure), in
thousandths of the font size. A browser that has none of them gets the same lines, a little narrower or wider;
the floor screen then squeezes what would not fit.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_GROUPS = {
    222: "ijl",
    191: "'",
    278: " !,./:;\\[]|ftI·",
    333: "()-`r",
    355: '"',
    400: "°",
    500: "ckJsvxyz",
    556: "0123456789#$?_abdeghnopquL",
    584: "+<=>~",
    611: "FTZ",
    667: "&ABEKPSVXY",
    722: "CDHNRUw",
    778: "GOQ",
    833: "Mm",
    889: "%",
    944: "W",
    1000: "—…",
}
_WIDTH = {letter: width for width, letters in _GROUPS.items() for letter in letters}
_WIDTH["\u00a0"] = 278
_OTHER = 620
_BOLD = 1.07
UNIT_SPACE = re.compile(r"(?<=\d) (?=[^\W\d]|[°%])")


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of one line, in the unit of `size`."""
    units = sum(_WIDTH.get(letter, _OTHER) for letter in text)
    return units / 1000 * size * (_BOLD if bold else 1.0)


def wrap(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """Break at spaces so that each line fits; a number stays with its unit, a long word stays whole."""
    lines: list[str] = []
    for word in UNIT_SPACE.sub("\u00a0", text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    # A dot between two parts needs no end of line to hang on.
    return [line.removesuffix(" ·") for line in lines]


def fit(
    text: str, *, width: float, sizes: Sequence[float], lines: int = 1, bold: bool = False
) -> tuple[list[str], float]:
    """The largest of `sizes` (falling) at which `text` fits into `lines` lines of `width`.

    Returns
    -------
    tuple of (list of str, float)
        The lines, and the size. At the smallest size, what is too long ends in an ellipsis.
    """
    for size in sizes:
        broken = wrap(text, size, width, bold=bold)
        if len(broken) <= lines and all(text_width(line, size, bold=bold) <= width for line in broken):
            return broken, size
    broken = wrap(text, sizes[-1], width, bold=bold)
    last = _shorten(broken[lines - 1], sizes[-1], width, bold=bold, ended=len(broken) <= lines)
    return [*broken[: lines - 1], last], sizes[-1]


def _shorten(line: str, size: float, width: float, *, bold: bool, ended: bool) -> str:
    if ended and text_width(line, size, bold=bold) <= width:
        return line
    while line and text_width(line + "…", size, bold=bold) > width:
        line = line[:-1]
    return line.rstrip() + "…"


def falling(largest: float, smallest: float, *, steps: int = 8) -> tuple[float, ...]:
    """Sizes to try, largest first."""
    step = (largest - smallest) / steps
    return tuple(round(largest - step * index, 1) for index in range(steps + 1))
