"""Many rows of shots at once, column by column, where nothing about them needs a second look.

A block in which every row has all its cells, every number is a plain one, and nothing is missing is read in
half the time (5 against 10 us a row of ten values, measured). Any other block gives None and is read row by
row (`collector.sources.csv_shots`), which finds the row that is odd and says what is wrong with it; both give
the same shots.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from itertools import repeat
from math import isfinite
from typing import Any, TypeVar

from collector.contract.mapping import ReconstructedTime, ShotProfile
from collector.contract.members import MAX_TEXT
from collector.contract.shot import Original, Shot
from collector.contract.unreadable import Unreadable
from collector.sources.csv_cells import CellPlan
from collector.sources.csv_job import Import

Texts = tuple[str, ...]
Made = TypeVar("Made")

__all__ = ["BlockReader"]

_LARGEST_COUNT = 2**53


class _Odd(Exception):
    """Something in the block needs the reading of single rows."""


class BlockReader:
    """Reads blocks of rows of one file.

    Parameters
    ----------
    profile : ShotProfile
        Without a cavity column.
    job : Import
    source : str
    place : mapping
        Place of each column of the profile.
    values, setpoints : sequence of CellPlan
    units : mapping of str to str
        Units of the keys that the table of quantities does not know.
    read_time : callable or None
        From the text of the time columns to a time; None where times are made up.
    press, run : str or None
    """

    def __init__(
        self,
        profile: ShotProfile,
        job: Import,
        source: str,
        *,
        place: dict[str | int, int],
        values: Sequence[CellPlan],
        setpoints: Sequence[CellPlan],
        units: dict[str, str],
        read_time: Callable[[str], datetime] | None,
        press: str | None,
        run: str | None,
    ) -> None:
        self._profile = profile
        self._job = job
        self._source = source
        self._place = place
        self._values = values
        self._setpoints = setpoints
        self._units = units
        self._read_time = read_time
        self._press = press
        self._run = run
        self._missing = frozenset(profile.missing)

    def read(self, table: Sequence[Sequence[str]], first: int) -> list[Shot] | None:
        """The shots of a block, None when it is not all plain.

        Parameters
        ----------
        table : sequence of rows
            All as long as the header.
        first : int
            Number of its first row in the file, from 0.
        """
        columns = list(zip(*table, strict=True))
        try:
            return self._shots(columns, len(table), first)
        except (_Odd, Unreadable, ValueError, OverflowError):
            return None

    def _shots(self, columns: Sequence[Texts], count: int, first: int) -> list[Shot]:
        values, originals = self._numbers(columns, count, self._values)
        setpoints, setpoint_originals = self._numbers(columns, count, self._setpoints)
        job = self._job
        fields = (  # in the order in which a shot has them
            repeat(job.site), self._presses(columns, count), self._counters(columns, count),
            self._times(columns, count, first), repeat(job.received_at), repeat(self._run),
            self._texts(columns, count, self._profile.tray_column), repeat(None), values, originals,
            setpoints, setpoint_originals, repeat(self._units), repeat(()), repeat(self._read_time is None),
            repeat(self._source),
        )  # fmt: skip
        return list(map(Shot, *fields))

    def _numbers(
        self, columns: Sequence[Texts], count: int, plans: Sequence[CellPlan]
    ) -> tuple[list[dict[str, float]], list[dict[str, Original]]]:
        read = [self._column(columns[plan.index], plan) for plan in plans]
        converted = [plan for plan in plans if plan.sent_unit is not None]
        sent = [
            [(value, plan.sent_unit) for value in raw]
            for plan, (raw, _) in zip(plans, read, strict=True)
            if plan.sent_unit is not None
        ]
        values = _rows_of([plan.key for plan in plans], [found for _, found in read], count)
        return values, _rows_of([plan.key for plan in converted], sent, count)

    def _column(self, texts: Texts, plan: CellPlan) -> tuple[list[float], list[float]]:
        """A column as it was sent, and in its canonical unit."""
        self._check_written(texts)
        joined = "".join(texts)
        if "_" in joined or (self._profile.decimal_mark == "," and "." in joined):
            raise _Odd
        if self._profile.decimal_mark == ",":
            texts = tuple([text.replace(",", ".") for text in texts])
        raw = list(map(float, texts))
        if plan.scale != 1.0:
            raw = [value * plan.scale for value in raw]
        if plan.zero_is_missing and 0.0 in raw:
            raise _Odd
        found = raw
        if plan.sent_unit is not None:
            found = [value * plan.factor + plan.offset for value in raw]
        # A sum is finite only if all are; the few of which only the sum is not are left to the single rows.
        if not (isfinite(sum(raw)) and isfinite(sum(found))):
            raise _Odd
        return raw, found

    def _counters(self, columns: Sequence[Texts], count: int) -> Sequence[int | None]:
        column = self._profile.counter_column
        if column is None:
            return [None] * count
        texts = tuple([text.strip() for text in columns[self._place[column]]])
        self._check_written(texts)
        counters = list(map(int, texts))  # 251.0, as spreadsheets write it, is left to the single rows
        if "_" in "".join(texts) or min(counters) < 0 or max(counters) > _LARGEST_COUNT:
            raise _Odd
        return counters

    def _times(self, columns: Sequence[Texts], count: int, first: int) -> list[datetime]:
        time = self._profile.time
        if isinstance(time, ReconstructedTime):
            return [time.start + timedelta(seconds=time.interval_s * (first + row)) for row in range(count)]
        assert self._read_time is not None, "a profile with time columns has a reader for them"
        parts = [columns[self._place[column]] for column in time.columns]
        texts: Iterable[str] = parts[0] if len(parts) == 1 else map(" ".join, zip(*parts, strict=True))
        times = list(map(self._read_time, texts))
        self._job.check_time(min(times))
        self._job.check_time(max(times))
        return times

    def _presses(self, columns: Sequence[Texts], count: int) -> Sequence[str]:
        presses = [
            own or self._press or "" for own in self._texts(columns, count, self._profile.press_column)
        ]
        for press in set(presses):
            if not press:
                raise _Odd
            self._job.check_press(press)
        return presses

    def _texts(self, columns: Sequence[Texts], count: int, column: str | int | None) -> Sequence[str | None]:
        if column is None:
            return [None] * count
        texts = [text.strip() for text in columns[self._place[column]]]
        if not all(text.isprintable() and len(text) <= MAX_TEXT for text in set(texts)):
            raise _Odd
        return [None if text in self._missing else text for text in texts]

    def _check_written(self, texts: Texts) -> None:
        if not self._missing.isdisjoint(texts):
            raise _Odd


def _rows_of(keys: Sequence[str], columns: Sequence[Sequence[Any]], count: int) -> list[dict[str, Any]]:
    """One mapping a row; without columns, empty ones."""
    return [dict(zip(keys, row, strict=True)) for row in zip(*columns, strict=True)] or [{}] * count
