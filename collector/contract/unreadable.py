"""The one exception inside the contract; `parse` turns it into a refusal and lets none out."""

from __future__ import annotations

from collector.contract.refusal import Reason


class Unreadable(Exception):
    """A message, or one member of it, that cannot be taken.

    Parameters
    ----------
    reason : str
        Short code of the refusal.
    detail : str
        What is wrong and where.
    remedy : str
        What to do about it.
    """

    def __init__(self, reason: Reason, detail: str, remedy: str) -> None:
        super().__init__(detail)
        self.reason = reason
        self.detail = detail
        self.remedy = remedy


def pointer(*steps: str | int) -> str:
    """JSON pointer (RFC 6901) to a member for a message to people: ``/values/cushion``.

    A name that a sender made up cannot write to a terminal or fill a screen: what is not printable stands
    as an escape, and what is very long is cut.
    """
    return "".join("/" + in_line(str(step)).replace("~", "~0").replace("/", "~1") for step in steps)


def in_line(text: str, limit: int = 60) -> str:
    """A text of the outside as it may stand in a line of a log or on a screen."""
    if not text.isprintable():
        escaped = (each if each.isprintable() else each.encode("unicode_escape").decode() for each in text)
        text = "".join(escaped)
    return text if len(text) <= limit else text[: limit - 3] + "..."


def shown(value: object, limit: int = 40) -> str:
    """A value for a message, cut to a length that still reads as one sentence."""
    text = repr(value)
    return text if len(text) <= limit else text[: limit - 3] + "..."
