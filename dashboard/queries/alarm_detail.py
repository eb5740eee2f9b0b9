"""Everything about one alarm: since which shot, what moved, what happened before, what is on hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.alarms.model import Moved
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import set_asides
from collector.store.alarms import AlarmRow, StepRow
from collector.store.set_asides import SetAside
from collector.store.tables import events, runs, shots
from dashboard.queries import provisional
from dashboard.queries.alarm_beside import Beside, beside
from dashboard.queries.alarms import press_names, whose
from dashboard.queries.holds import Held, held_of

BEFORE = timedelta(minutes=30)
NOT_TOLD = ("tray", "limits", "startup")  # they happen all the time, or follow from another event


@dataclass(frozen=True, slots=True)
class ShotPlace:
    """A shot as people find it: its counter and its time."""

    counter: int | None
    ended_at: datetime


@dataclass(frozen=True, slots=True)
class EventLine:
    """Something that happened on the press beside shots."""

    at: datetime
    kind: str
    key: str | None
    old: Any
    new: Any
    note: str | None


@dataclass(frozen=True, slots=True)
class Detail:
    """Everything about one alarm."""

    press: str
    alarm: AlarmRow
    run: str | None
    mold: str | None
    began: ShotPlace | None
    earliest: ShotPlace | None
    latest: ShotPlace | None
    moved: tuple[Moved, ...]
    turned: dict[str, ShotPlace]  # by key, where it went to the other side
    events: tuple[EventLine, ...]
    holds: tuple[Held, ...]
    steps: tuple[StepRow, ...]
    shelf: SetAside | None
    beside: tuple[Beside, ...] = ()  # alarms of the press over the shots of a gauging's alarm
    provisional: tuple[str, ...] = ()  # keys whose limits nobody had approved


def detail(conn: sa.Connection, alarm_id: int) -> Detail | None:
    """One alarm with its shots, events, holds and steps; None when there is no such alarm."""
    alarm = alarm_store.get(conn, alarm_id)
    if alarm is None:
        return None
    moved = tuple(Moved.from_json(item) for item in alarm.characteristics)
    places = _places(conn, alarm, moved)
    run = conn.execute(sa.select(runs.c.name, runs.c.mold).where(runs.c.id == alarm.run_id)).first()
    earliest = places.get(alarm.change_low_shot_id)
    first = places.get(alarm.first_shot_id)
    return Detail(
        press=whose(press_names(conn), alarm),
        alarm=alarm,
        run=None if run is None else run.name,
        mold=None if run is None else run.mold,
        began=places.get(alarm.change_shot_id),
        earliest=earliest,
        latest=places.get(alarm.change_high_shot_id),
        moved=moved,
        turned={item.key: places[item.turned_shot_id] for item in moved if item.turned_shot_id in places},
        events=_events(conn, alarm.press_id, earliest or first, first),
        holds=tuple(held_of(conn, hold) for hold in hold_store.of_alarm(conn, alarm_id)),
        steps=tuple(alarm_store.steps(conn, alarm_id)),
        shelf=set_asides.shelf_of(conn, alarm_id),
        beside=beside(conn, alarm),
        provisional=provisional.keys_of_alarm(conn, alarm_id),
    )


def _places(
    conn: sa.Connection, alarm: AlarmRow, moved: Sequence[Moved]
) -> dict[int | None, ShotPlace]:
    wanted = (
        alarm.change_shot_id, alarm.change_low_shot_id, alarm.change_high_shot_id, alarm.first_shot_id,
        *(item.turned_shot_id for item in moved),
    )  # fmt: skip
    query = sa.select(shots.c.id, shots.c.counter, shots.c.ended_at)
    rows = conn.execute(query.where(shots.c.id.in_([shot for shot in wanted if shot is not None])))
    return {row.id: ShotPlace(row.counter, row.ended_at) for row in rows}


def _events(
    conn: sa.Connection, press_id: int | None, since: ShotPlace | None, until: ShotPlace | None
) -> tuple[EventLine, ...]:
    """Events from half an hour before the change may have begun until the first signal."""
    if since is None or until is None:
        return ()
    query = sa.select(
        events.c.at, events.c.kind, events.c.key, events.c.old, events.c.new, events.c.note
    ).where(
        events.c.press_id == press_id,
        events.c.at >= since.ended_at - BEFORE,
        events.c.at <= until.ended_at,
        events.c.kind.not_in(NOT_TOLD),
    )
    return tuple(EventLine(**row) for row in conn.execute(query.order_by(events.c.at)).mappings())
