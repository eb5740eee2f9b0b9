"""Which alarms of the press lie over the shots of discs that a gauging found out of tolerance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from collector.store import places
from collector.store.alarms import AlarmRow
from collector.store.tables import alarms, holds


@dataclass(frozen=True, slots=True)
class Beside:
    """An alarm of the press over the same shots; `cause` as it was given, None where nobody has."""

    id: int
    headline: str
    cause: str | None


def beside(conn: sa.Connection, alarm: AlarmRow) -> tuple[Beside, ...]:
    """Alarms of the same run whose signals or holds touch the shots of a gauging's alarm, oldest first."""
    if alarm.kind != "gauging" or alarm.first_shot_id is None or alarm.last_shot_id is None:
        return ()
    rows = conn.execute(_of_run(alarm)).all()
    mine = (alarm.first_shot_id, alarm.last_shot_id)
    spans = [((row.first_shot_id, row.last_shot_id), (row.from_shot_id, row.to_shot_id)) for row in rows]
    where = places.of(conn, [*mine, *(end for pair in spans for span in pair for end in span)])
    found = {
        row.id: Beside(id=row.id, headline=row.headline, cause=row.cause)
        for row, both in zip(rows, spans, strict=True)
        if _touch(where, mine, *both)
    }
    return tuple(found.values())


def _of_run(alarm: AlarmRow) -> sa.Select[Any]:
    """One row an alarm and hold: the alarm, the ends of its signals, the ends of its hold."""
    c = alarms.c
    return (
        sa.select(c.id, c.headline, c.cause, c.first_shot_id, c.last_shot_id, holds.c.from_shot_id,
                  holds.c.to_shot_id)
        .outerjoin(holds, holds.c.alarm_id == c.id)
        .where(c.press_id == alarm.press_id, c.run_id == alarm.run_id, c.kind != "gauging")
        .order_by(c.id)
    )  # fmt: skip


def _touch(where: dict[int, places.Place], mine: tuple[int, int], *spans: Sequence[int | None]) -> bool:
    """Whether any span of shots touches mine; one without a last shot goes on."""
    low, high = (places.order(where[each]) for each in mine)
    for first, last in spans:
        if first is None or places.order(where[first]) > high:
            continue
        if last is None or not places.order(where[last]) < low:
            return True
    return False
