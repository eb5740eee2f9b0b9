"""Reading and writing points in time: RFC 3339 outside, aware UTC inside."""

from __future__ import annotations

from datetime import UTC, datetime


def to_text(moment: datetime) -> str:
    """Write an aware time as RFC 3339 in UTC with milliseconds, such as ``2026-11-24T10:00:00.120Z``."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class LeftOut(ValueError):
    """A local time that clocks leave out; its text says where."""


def is_left_out(local: datetime) -> bool:
    """Whether the clocks of its own zone never show a time, as in the hour that spring leaves out."""
    return local.astimezone(UTC).astimezone(local.tzinfo) != local  # in one zone only the clocks compare


def from_text(text: str) -> datetime:
    """Read an RFC 3339 time with its zone; give it back in UTC.

    Raises
    ------
    ValueError
        When the text is no such time or has no zone.
    """
    # fromisoformat also reads dates alone and week dates; RFC 3339 wants date, separator and time.
    if len(text) < 20 or text[4] != "-" or text[7] != "-" or text[10] not in "Tt ":
        raise ValueError(text)
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(text)
    return moment.astimezone(UTC)
