"""The times of a CSV file: written in the declared order, at the declared zone unless they say their own."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from zoneinfo import ZoneInfo

from collector.contract.mapping import TimeColumns
from collector.contract.times import LeftOut, from_text, is_left_out

__all__ = ["TimeReader"]

# A date with any separators, then a time with colons or dots, a fraction, and AM or PM.
_PARTS = re.compile(
    r"(\d+)\D(\d+)\D(\d+)"
    r"(?:[T ]+(\d+)[:.](\d+)(?:[:.](\d+)(?:[.,](\d+))?)?(?:\s*([AaPp])\.?[Mm]\.?)?)?"
)
_EPOCHS = {"epoch-s": 1, "epoch-ms": 1_000}
_ORDERS = {"year-first": (0, 1, 2), "day-first": (2, 1, 0), "month-first": (2, 0, 1)}


class TimeReader:
    """From the text of the time columns to an aware UTC time, row after row.

    In autumn a local clock shows an hour twice. Which of the two a row means is told by the row before: the
    one that lies nearer to it, the later one where both are as near. The first row of a file that begins in
    such an hour is read as the earlier one. A time that spring leaves out is refused: nobody can know what
    the clock should have shown.

    Parameters
    ----------
    columns : TimeColumns

    Attributes
    ----------
    before : datetime or None
        The time that was read last.
    """

    def __init__(self, columns: TimeColumns) -> None:
        self.before: datetime | None = None
        self._read = _reader(columns)
        self._zone = ZoneInfo(columns.zone)
        self._day: date | None = None  # of the row before
        self._is_set = False  # whether the clocks are set on that day

    def __call__(self, text: str) -> datetime:
        """Read one time.

        Raises
        ------
        ValueError, OverflowError
            The text is no time in the declared order, or one that no clock shows.
        """
        local = self._read(text)
        if local.date() != self._day:
            self._day, self._is_set = local.date(), _is_set(local, self._zone)
        if self._is_set and is_left_out(local):
            raise LeftOut(f"clocks in {self._zone} leave out")
        when = local.astimezone(UTC)
        if self.before is not None and when < self.before:
            again = local.replace(fold=1).astimezone(UTC)  # PEP 495; the same where the hour comes once
            if again > when and abs(again - self.before) <= self.before - when:
                when = again
        self.before = when
        return when


def _is_set(local: datetime, zone: ZoneInfo) -> bool:
    """Whether the clocks of a zone go forward or back on the day of a time."""
    begins = datetime(local.year, local.month, local.day, tzinfo=zone)
    return begins.utcoffset() != (begins + timedelta(days=1)).utcoffset()


def _reader(columns: TimeColumns) -> Callable[[str], datetime]:
    """A function to an aware time, at the declared zone where the text names none."""
    zone = ZoneInfo(columns.zone)
    if columns.format is not None:
        pattern = columns.format
        return lambda text: _at(zone, datetime.strptime(text, pattern))  # noqa: DTZ007 - its zone is looked at
    if columns.order == "iso":
        return lambda text: _iso(text, zone)
    if columns.order in _EPOCHS:
        return partial(_since_1970, per_second=_EPOCHS[columns.order])
    order = _ORDERS[columns.order]
    return lambda text: _ordered(text, order, zone)


def _at(zone: ZoneInfo, moment: datetime) -> datetime:
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment


def _since_1970(text: str, *, per_second: int) -> datetime:
    return datetime.fromtimestamp(float(text.replace(",", ".")) / per_second, UTC)


def _iso(text: str, zone: ZoneInfo) -> datetime:
    try:
        return from_text(text)
    except ValueError:
        return _at(zone, datetime.fromisoformat(text))


def _ordered(text: str, order: tuple[int, int, int], zone: ZoneInfo) -> datetime:
    match = _PARTS.fullmatch(text.strip())
    if match is None:
        raise ValueError(text)
    date = match.groups()[:3]
    hour, minute, second = (int(part or 0) for part in match.groups()[3:6])
    hour = _of_the_day(hour, match[8], text)
    micro = int((match[7] or "0").ljust(6, "0")[:6])
    year, month, day = (int(date[place]) for place in order)
    year = _century(year) if len(date[order[0]]) <= 2 else year
    return datetime(year, month, day, hour, minute, second, micro, tzinfo=zone)


def _of_the_day(hour: int, half: str | None, text: str) -> int:
    """12 AM is midnight and 12 PM is noon."""
    if half is None:
        return hour
    if not 1 <= hour <= 12:
        raise ValueError(text)
    return hour % 12 + (12 if half in "Pp" else 0)


def _century(year: int) -> int:
    """Two digits as POSIX.1-2017 reads %y: 69 to 99 are the last century."""
    return year + (1900 if year >= 69 else 2000)
