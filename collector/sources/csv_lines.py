"""The lines of a CSV file: wrapped ones put together, and read from the end where the newest shot is on top.

Both keep memory constant. A file is read from its end in stretches of some thousand lines, whose places
are noted in a first pass; so the press's counter rises as it did at the press.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import TextIO

# The number of a line, from 1, and its text as it stands in the file.
Line = tuple[int, str]

STRETCH = 4096
_LINE_END = re.compile("\r\n|\n|\r")  # not str.splitlines, which also splits at signs that Latin-1 has
LONGEST = 1 << 20  # characters of one wrapped row; what goes on for longer is no row


def forward(file: TextIO, before: int) -> Iterator[Line]:
    """Lines from the present place on; `before` lines were read already."""
    return enumerate(file, start=before + 1)


def from_the_end(file: TextIO, before: int) -> Iterator[Line]:
    """Lines from the last to the one at the present place; `before` lines were read already."""
    places = [(file.tell(), before)]
    while (read := sum(1 for _ in _stretch(file))) == STRETCH:
        places.append((file.tell(), places[-1][1] + read))
    for place, count in reversed(places):
        file.seek(place)
        yield from reversed([(count + 1 + i, text) for i, text in enumerate(_stretch(file))])


def _stretch(file: TextIO) -> Iterator[str]:
    # readline, because iterating over a file forbids asking for the place in it
    return islice(iter(file.readline, ""), STRETCH)


def white_space(delimiter: str) -> str:
    """The signs that are nothing but space: a tab is not where it parts cells."""
    return " " if delimiter == "\t" else " \t"


def is_blank(text: str, delimiter: str) -> bool:
    """Whether a line holds neither a cell nor a delimiter."""
    return not text.strip("\r\n" + white_space(delimiter))


def continuation(delimiter: str) -> Callable[[str], bool]:
    """Whether a line continues the one before: it begins with white space and is not blank."""
    white = white_space(delimiter)
    return lambda text: text[:1] != "" and text[0] in white and not is_blank(text, delimiter)


def joined(lines: Iterable[Line], continues: Callable[[str], bool]) -> Iterator[Line]:
    """Each line together with those that continue it, line ends kept."""
    begun, parts, length = 0, list[str](), 0
    for number, text in lines:
        if not (parts and continues(text) and length < LONGEST):
            if parts:
                yield begun, "".join(parts)
            begun, parts, length = number, [], 0
        parts.append(text)
        length += len(text)
    if parts:
        yield begun, "".join(parts)


def joined_from_the_end(lines: Iterable[Line], continues: Callable[[str], bool]) -> Iterator[Line]:
    """The same for lines that come last first."""
    parts, length, number = list[str](), 0, 0
    for number, text in lines:
        goes_on = continues(text) and length < LONGEST
        parts.append(text)
        length += len(text)
        if not goes_on:
            yield number, "".join(reversed(parts))
            parts, length = [], 0
    if parts:
        yield number, "".join(reversed(parts))


def unwrapped(text: str, delimiter: str) -> str:
    """The one line that wrapped lines were before: line ends and the white space after them taken out."""
    first, *more = _LINE_END.split(text)
    return first + "".join(part.lstrip(white_space(delimiter)) for part in more) if more else text


def split_names(text: str, delimiter: str) -> list[str] | None:
    """The names of a header, in which a delimiter within brackets belongs to the name.

    Returns
    -------
    list of str or None
        None when a bracket or a quote stays open.
    """
    names, name, depth, quoted = [], "", 0, False
    for sign in text.strip("\r\n"):
        if sign == '"':
            quoted = not quoted
            continue
        if not quoted:
            depth += (sign in "[(") - (sign in ")]")
            if sign == delimiter and depth == 0:
                names.append(name)
                name = ""
                continue
        name += sign
    return None if quoted or depth else [*names, name]
