"""How much the open holds of a press cover together: discs and trays, none of them counted twice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy.engine import Connection

from collector.store import holds
from collector.store.holds import HoldRow


@dataclass(frozen=True, slots=True)
class Held:
    """Discs and trays on hold; `intervals` are first and last shot id, the last None while it grows."""

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


def held(conn: Connection, press_id: int, rows: Iterable[HoldRow]) -> Held:
    """What these holds of one press cover together."""
    intervals = merged((row.from_shot_id, row.to_shot_id) for row in rows)
    extents = [
        holds.extent(conn, press_id=press_id, from_shot_id=low, to_shot_id=high) for low, high in intervals
    ]
    trays = dict.fromkeys(tray for each in extents for tray in each.trays)
    return Held(intervals, sum(each.discs for each in extents), tuple(trays))
