"""The hold of an alarm: opened from where the change began, grown with it, ended when the alarm clears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.contract.figures import counted
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import places
from collector.store.holds import HoldRow

# A wrong reading, or none at all, says nothing about a disc.
HOLDS_NOTHING = frozenset({"data", "silence"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """Which shots an alarm touches.

    `last_shot_id` is None while it goes on; `fresh_shot_id` is the first signaling shot of this batch.
    """

    alarm_id: int
    press_id: int
    run_id: int | None
    first_shot_id: int
    last_shot_id: int | None
    fresh_shot_id: int | None
    reason: str


def contain(conn: sa.Connection, touched: Touched, *, now: datetime) -> str | None:
    """Open or grow the hold of an alarm.

    The start only ever moves to earlier shots: a later estimate never lets a disc go, a person does. Signals
    after a person decided about the hold open another one from there.

    Returns
    -------
    str or None
        What to say where the hold had grown with every shot and now ends before the newest.
    """
    mine = hold_store.of_alarm(conn, touched.alarm_id)
    # The newest: an earlier one may have been opened again by a person, and stays as it was.
    current = next((hold for hold in reversed(mine) if hold.state == hold_store.OPEN), None)
    if current is not None:
        return _grow(conn, current, touched, [hold for hold in mine if hold.state != hold_store.OPEN])
    if not mine:
        _open(conn, touched, touched.first_shot_id, now)
    elif touched.fresh_shot_id is not None:
        _open(conn, touched, touched.fresh_shot_id, now)
    return None


def _grow(
    conn: sa.Connection, hold: HoldRow, touched: Touched, decided: Sequence[HoldRow]
) -> str | None:
    wanted = {
        "from_shot_id": _earlier_start(conn, hold, touched, decided),
        "to_shot_id": _later_end(conn, hold, touched),
        "reason": touched.reason,
    }
    if wanted != {name: getattr(hold, name) for name in wanted}:
        hold_store.change(conn, hold.id, wanted)
    if hold.to_shot_id is not None or touched.last_shot_id is None:
        return None
    return _let_go(conn, hold_store.get(conn, hold.id))


def _let_go(conn: sa.Connection, hold: HoldRow | None) -> str | None:
    """How many discs after the end of a hold were on it while it grew, None if there are none."""
    assert hold is not None  # changed in this transaction
    ended, grown = (
        hold_store.extent(
            conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=to_shot_id
        )
        for to_shot_id in (hold.to_shot_id, None)
    )
    after = grown.discs - ended.discs
    if not after:
        return None
    shot = "" if ended.last_counter is None else f", shot {ended.last_counter:,}"
    held, made = counted(ended.discs, "disc"), counted(after, "disc")
    return (
        f"the hold ends with the last disc that signaled{shot}: {held} on hold, "
        f"{made} made since {'is' if after == 1 else 'are'} not"
    )


def _earlier_start(conn: sa.Connection, hold: HoldRow, touched: Touched, decided: Sequence[HoldRow]) -> int:
    """The earlier of both starts, but after what a person decided about."""
    if touched.first_shot_id == hold.from_shot_id:
        return hold.from_shot_id  # as with most shots of an alarm, which must not cost a query each
    ends = [each.to_shot_id for each in decided if each.to_shot_id is not None]
    known = places.of(conn, (hold.from_shot_id, touched.first_shot_id, *ends))
    start = min(known[hold.from_shot_id], known[touched.first_shot_id], key=places.order)
    end = max((known[each] for each in ends), key=places.order, default=None)
    if end is None or places.order(end) < places.order(start):
        return start.shot_id
    return places.following(conn, hold.press_id, end) or hold.from_shot_id


def _later_end(conn: sa.Connection, hold: HoldRow, touched: Touched) -> int | None:
    if touched.last_shot_id is None or hold.to_shot_id is None:
        return touched.last_shot_id
    ends = places.of(conn, (hold.to_shot_id, touched.last_shot_id))
    return max(ends.values(), key=places.order).shot_id


def _open(conn: sa.Connection, touched: Touched, from_shot_id: int, now: datetime) -> None:
    hold_store.open_new(conn, {
        "press_id": touched.press_id, "run_id": touched.run_id, "alarm_id": touched.alarm_id,
        "from_shot_id": from_shot_id, "to_shot_id": touched.last_shot_id, "reason": touched.reason,
        "opened_by": alarm_store.SERVICE, "opened_at": now,
    })  # fmt: skip
