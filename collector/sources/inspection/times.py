"""Which columns hold the time of a shot, in which order its date is, and which end of the file is newest."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from collector.contract.mapping import TimeColumns
from collector.sources.csv_times import TimeReader
from collector.sources.inspection import cells
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.table import SampledColumn
from collector.sources.inspection.words import parts

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?([Zz]|[+-]\d{2}:?\d{2})?")
_ZONED = re.compile(r".*:\d{2}([.,]\d+)?([Zz]|\s*[+-]\d{2}:?\d{2})")  # not the year of 24-11-2026
_DATE_PARTS = re.compile(r"(\d+)\D(\d+)\D(\d+)")
_END_WORDS = ("end", "stop", "finish")
_STAMP_WORDS = ("time", "zeit", "stamp", "date", "datum")
_TIME_WORDS = ("time", "zeit", "uhr", "clock", "hour")
_DATE_WORDS = ("date", "datum", "day", "tag")


@dataclass(frozen=True, slots=True)
class FoundTime:
    """The columns of the time and how it is written; `moments` are those of the sample, in their order."""

    columns: list[SampledColumn]
    order: str
    format: str | None
    zoned: bool
    moments: list[datetime]


def find_time(columns: Sequence[SampledColumn], now: datetime, doubts: Doubts) -> FoundTime | None:
    """The time of a row, None when the file has none that can be read."""
    chosen = _columns(columns, doubts)
    if not chosen:
        return _since_1970(columns, now, doubts)
    texts = [" ".join(parts) for parts in zip(*(column.texts for column in chosen), strict=True)]
    texts = [text for text in texts if text.strip()]
    if all(cells.COMPACT_DATE.fullmatch(text.split(" ")[0]) for text in texts):
        return _compact(chosen, texts, doubts)
    zoned = all(_ZONED.fullmatch(text) for text in texts)
    if zoned or all(_ISO.fullmatch(text) for text in texts):
        return FoundTime(chosen, "iso", None, zoned, _read(texts, TimeColumns(columns=("t",), order="iso")))
    order = _order(texts, now, doubts)
    return FoundTime(chosen, order, None, zoned=False, moments=_moments(texts, order))


def _since_1970(columns: Sequence[SampledColumn], now: datetime, doubts: Doubts) -> FoundTime | None:
    """Seconds or milliseconds since 1970: a column named for times, whose numbers lie in this century."""
    for column in columns:
        if not _is_stamp(column.name):
            continue
        texts = [text for text in column.written if cells.is_number(text)]
        for order in ("epoch-s", "epoch-ms"):
            moments = _moments(texts, order)
            if len(texts) == len(column.written) == len(moments) and _in_this_century(moments, now):
                return FoundTime([column], order, None, zoned=True, moments=moments)
        if column.written and not texts:
            doubts.add(
                "time",
                f"column {column.name!r} may hold times, but {column.written[0]!r} is no way that is known; "
                "give its format in the time section, as of strptime",
            )
    return None


def _is_stamp(name: str) -> bool:
    words = {part.lower() for part in parts(name)}
    return bool(words & {"ts", "epoch"}) or any(word in name.lower() for word in _STAMP_WORDS)


def _in_this_century(moments: Sequence[datetime], now: datetime) -> bool:
    return bool(moments) and min(moments).year >= 2000 and max(moments) <= now + timedelta(days=1)


def _columns(columns: Sequence[SampledColumn], doubts: Doubts) -> list[SampledColumn]:
    whole = [column for column in columns if _all(column, cells.DATE_TIME.fullmatch)]
    if len(whole) > 1:
        names = " and ".join(repr(column.name) for column in whole)
        doubts.add(
            "time", f"columns {names} all hold times; the one that seems to be the end of a shot is taken"
        )
    if whole:
        return [max(whole, key=lambda column: _is_named(column, _END_WORDS))]
    dates = [column for column in columns if _is_date(column)]
    # 24.11.26 may be a dotted time as well: what is named for dates goes before.
    date = max(dates, key=lambda column: _is_named(column, _DATE_WORDS), default=None)
    if date is None:
        _warn_of_clock_alone(columns, doubts)
        return []
    compact = _all(date, cells.COMPACT_DATE.fullmatch)
    clocks = [each for each in columns if each is not date and _is_clock(each, compact=compact)]
    clock = min(clocks, key=_is_date, default=None)
    half = next((column for column in columns if _all(column, cells.HALF_DAY.fullmatch)), None)
    if clock is None:
        doubts.add(
            "time",
            f"column {date.name!r} has dates and no column times of day: all shots of a day are at 00:00",
        )
        return [date]
    return [date, clock] if half is None else [date, clock, half]


def _all(column: SampledColumn, form: Callable[[str], object]) -> bool:
    written = column.written
    return bool(written) and sum(bool(form(text.strip())) for text in written) >= 0.95 * len(written)


def _is_named(column: SampledColumn, words: Sequence[str]) -> bool:
    return any(word in column.name.lower() for word in words)


def _is_date(column: SampledColumn) -> bool:
    return _all(column, cells.DATE.fullmatch) or _all(column, cells.COMPACT_DATE.fullmatch)


def _is_clock(column: SampledColumn, *, compact: bool) -> bool:
    if _all(column, cells.CLOCK.fullmatch):
        return True
    named = _is_named(column, _TIME_WORDS)
    short = named and _all(column, cells.SHORT_CLOCK.fullmatch)
    return short or (compact and named and _all(column, cells.COMPACT_CLOCK.fullmatch))


def _warn_of_clock_alone(columns: Sequence[SampledColumn], doubts: Doubts) -> None:
    clock = next((column for column in columns if _all(column, cells.CLOCK.fullmatch)), None)
    if clock is not None:
        doubts.add(
            "time", f"column {clock.name!r} has times of day, but no column has a date, so they are not used"
        )


def _compact(chosen: list[SampledColumn], texts: list[str], doubts: Doubts) -> FoundTime | None:
    half = any(text[-1:] in "Mm." for text in texts)
    hour = "%I:%M:%S %p" if half else "%H:%M:%S"
    for clock in (
        "",
        f" {hour}",
        f" {hour.replace(':%S', '')}",
        f" {hour.replace(':', '.')}",
        f" {hour.replace(':%S', ':%S.%f')}",
        " %H%M%S",
    ):
        pattern = f"%Y%m%d{clock}"
        moments = _read(texts, TimeColumns(columns=("t",), format=pattern))
        if len(moments) >= 0.95 * len(texts):
            return FoundTime(chosen, "iso", pattern, zoned=False, moments=moments)
    doubts.add("time", f"times such as {texts[0]!r} cannot be read, so the times are made up")
    return None


def _order(texts: Sequence[str], now: datetime, doubts: Doubts) -> str:
    parts = [match.groups() for text in texts if (match := _DATE_PARTS.match(text.strip()))]
    if all(len(first) == 4 for first, _, _ in parts):
        return "year-first"
    days_first = any(int(first) > 12 for first, _, _ in parts)
    months_first = any(int(second) > 12 for _, second, _ in parts)
    if days_first != months_first:
        return "day-first" if days_first else "month-first"
    return _by_the_course(texts, now, doubts)


def _by_the_course(texts: Sequence[str], now: datetime, doubts: Doubts) -> str:
    """No day beyond the 12th was seen: the reading in which time runs one way wins, and not ahead of now."""
    american = any(text.rstrip(" .")[-1:] in "Mm" for text in texts) and not any(
        "." in text[:6] for text in texts
    )
    orders = ["month-first", "day-first"] if american else ["day-first", "month-first"]
    worse = {order: _disorder(_moments(texts, order), now) for order in orders}
    best = min(orders, key=lambda order: worse[order])
    day, month = ("first", "second") if best == "day-first" else ("second", "first")
    sure = worse[orders[0]] != worse[orders[1]]
    why = "that way time runs steadily" if sure else "no date of the sample tells"
    doubts.add(
        "time",
        f"in dates such as {texts[0]!r} the {day} number is taken for the day "
        f"and the {month} for the month: {why}",
    )
    return best


def _disorder(moments: Sequence[datetime], now: datetime) -> tuple[int, int, float]:
    """Times ahead of now, turns of direction, and the span: what a wrong order makes larger."""
    rises, falls = rises_and_falls(moments)
    span = (max(moments) - min(moments)).total_seconds() if moments else 0.0
    return sum(moment > now for moment in moments), min(rises, falls), span


def _moments(texts: Sequence[str], order: str) -> list[datetime]:
    return _read(texts, TimeColumns.model_validate({"columns": ["t"], "order": order}))


def _read(texts: Sequence[str], columns: TimeColumns) -> list[datetime]:
    read, moments = TimeReader(columns), []
    for text in texts:
        try:
            moments.append(read(text))
        except (ValueError, OverflowError):
            continue  # the import will refuse that row with its reason
    return moments


def rises_and_falls(moments: Sequence[datetime]) -> tuple[int, int]:
    """How often the time rises and falls from row to row."""
    pairs = list(pairwise(moments))
    return sum(a < b for a, b in pairs), sum(a > b for a, b in pairs)


def is_newest_first(time: FoundTime | None, counter: SampledColumn | None) -> bool:
    """Whether the time, or else the counter, falls more often than it rises from row to row."""
    if time is not None:
        rises, falls = rises_and_falls(time.moments)
        if rises != falls:
            return falls > rises
    if counter is None:
        return False
    rises, falls, _ = counter.steps()
    return falls > rises
