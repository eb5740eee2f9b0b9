"""How much the open holds of a press cover together: discs and trays, none of them counted twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy.engine import Connection

from collector.store import holds, places
from collector.store.holds import HoldRow
from collector.store.types import to_micros


@dataclass(frozen=True, slots=True)
class Held:
    """Discs and trays on hold.

    `intervals` are the ends of the first and the last cycle, microseconds since 1970; None while it grows.
    """

    intervals: tuple[tuple[int, int | None], ...] = ()
    discs: int = 0
    trays: tuple[str, ...] = ()


def merged(intervals: Iterable[tuple[int, int | None]]) -> tuple[tuple[int, int | None], ...]:
    """Join intervals that overlap, so that a disc in two holds is counted once."""
    result: list[tuple[int, int | None]] = []
    for low, high in sorted(intervals, key=lambda pair: pair[0]):
        if result and (result[-1][1] is None or low <= result[-1][1] + 1):
            last_low, last_high = result[-1]
            result[-1] = (last_low, None if high is None or last_high is None else max(high, last_high))
        else:
            result.append((low, high))
    return tuple(result)


def held(conn: Connection, press_id: int, rows: Sequence[HoldRow]) -> Held:
    """What these holds of one press cover together."""
    ends = places.of(conn, [end for row in rows for end in (row.from_shot_id, row.to_shot_id)])
    ranked = sorted(ends.values(), key=places.order)
    # Two apart, since between two ends there may be shots that lie in no hold.
    rank = {place.shot_id: 2 * number for number, place in enumerate(ranked)}
    covered = merged(
        (rank[row.from_shot_id], None if row.to_shot_id is None else rank[row.to_shot_id]) for row in rows
    )
    stretches = [(ranked[low // 2], None if high is None else ranked[high // 2]) for low, high in covered]
    extents = [
        holds.extent(
            conn, press_id=press_id, from_shot_id=first.shot_id,
            to_shot_id=None if last is None else last.shot_id,
        )
        for first, last in stretches
    ]  # fmt: skip
    intervals = (
        (to_micros(first.ended_at), None if last is None else to_micros(last.ended_at))
        for first, last in stretches
    )
    trays = dict.fromkeys(tray for each in extents for tray in each.trays)
    return Held(tuple(intervals), sum(each.discs for each in extents), tuple(trays))
