"""JSON pointers: which value of a document is meant.

References
----------
RFC 6901, JavaScript Object Notation (JSON) Pointer: syntax in section 3, evaluation in section 4.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Annotated, Any

from pydantic import AfterValidator

Steps = tuple[str, ...]

_LONGEST = 1000
_LONE_TILDE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")


class NoSuchValue(Exception):
    """A pointer leads nowhere.

    Parameters
    ----------
    why : str
        Where it ends and why, as the second half of a sentence.
    """

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


@lru_cache(maxsize=8192)
def parse_pointer(text: str) -> Steps:
    """Take a pointer apart: ``/a~1b/0`` becomes ``("a/b", "0")``, the empty text the whole document.

    Raises
    ------
    ValueError
        When the text is no pointer, with what is wrong in one sentence.
    """
    if not text:
        return ()
    if not text.startswith("/"):
        raise ValueError(f"{text!r} is no JSON pointer; begin it with a slash, as in /process/cushion")
    if _LONE_TILDE.search(text):
        raise ValueError(f"{text!r} is no JSON pointer; write ~0 for a tilde and ~1 for a slash in a name")
    if len(text) > _LONGEST:
        raise ValueError(f"a JSON pointer of {len(text)} signs is too long; it may have {_LONGEST}")
    # ~1 first: the other way round, ~01 would become a slash.
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in text[1:].split("/"))


def resolve(document: Any, steps: Steps) -> Any:
    """The value that the steps lead to.

    Raises
    ------
    NoSuchValue
        When there is none.
    """
    here = document
    for number, step in enumerate(steps):
        if type(here) is dict and step in here:
            here = here[step]
        elif type(here) is list and _INDEX.fullmatch(step) and int(step) < len(here):
            here = here[int(step)]
        else:
            raise NoSuchValue(_why(here, steps[:number], step))
    return here


def _why(here: Any, before: Steps, step: str) -> str:
    place = write_pointer(before) or "the message"
    shown = repr(step if len(step) <= 40 else step[:37] + "...")
    if type(here) is dict:
        return f"{place} has no member {shown}"
    if type(here) is list:
        return f"{place} is a list of {len(here)} and has no item {shown}"
    return f"{place} is neither an object nor a list"


def write_pointer(steps: Steps) -> str:
    """The text of a pointer."""
    return "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in steps)


def _checked(text: str) -> str:
    parse_pointer(text)
    return text


Pointer = Annotated[str, AfterValidator(_checked)]
