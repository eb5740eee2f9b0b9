"""When a shop works, and how streams of several presses become one."""

import heapq
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from simulator.records import SimRecord, SimShot, happened
from simulator.spans import Standing

SHIFT_BEGINS, LUNCH, AFTER_LUNCH, SHIFT_ENDS = (timedelta(hours=h) for h in (6, 12, 12.5, 22))
QUALIFICATION_SHOTS = 440  # about 25 of startup, then 400 and some
FIRST_RUN = 401
FIRST_STANDING = Standing(counter=48_210, tray=0)
HOUR = timedelta(hours=1)


def utc(moment: datetime) -> datetime:
    """The moment in UTC; refuses one without a zone."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; add one, such as +00:00")
    return moment.astimezone(UTC)


def merged(streams: Iterable[Iterator[SimRecord]]) -> Iterator[SimRecord]:
    """One stream in the order in which records happened; what is late in its own stream is late here, too."""
    return heapq.merge(*streams, key=happened)


def standing_after(records: Iterable[SimRecord]) -> dict[str, Standing]:
    """Last counter and tray of every press in a story."""
    last = {record.press: record for record in records if isinstance(record, SimShot)}
    return {
        press: Standing(counter=shot.counter, tray=int(shot.tray.rsplit("-", 1)[1]))
        for press, shot in last.items()
    }
