"""What the alarms page shows: which alarms need a person, and everything about one of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from collector.alarms.model import Moved
from collector.alarms.silence import USUAL_CYCLE_S
from collector.settings_alarms import Alarms
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import set_asides
from collector.store.alarms import AlarmRow, StepRow
from collector.store.holds import Extent, HoldRow
from collector.store.set_asides import SetAside
from collector.store.tables import alarms, events, limits, presses, runs, shots
from collector.store.tables import set_asides as set_aside_rows
from collector.store.withdrawn import SITE

LATELY = 20
DEFAULT_ALARMS = Alarms()
SERVICE = "Service"  # where an alarm belongs to no press
BEFORE = timedelta(minutes=30)
NOT_TOLD = ("tray", "limits", "startup")  # they happen all the time, or follow from another event


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """An alarm in the list."""

    press: str
    alarm: AlarmRow


@dataclass(frozen=True, slots=True)
class Listing:
    """Alarms that need a person, those kept quiet, those closed lately, and presses without any."""

    needed: tuple[AlarmLine, ...]
    quiet: tuple[AlarmLine, ...]
    closed: tuple[AlarmLine, ...]
    steady: tuple[str, ...]


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
class Held:
    """A hold with what lies inside it."""

    hold: HoldRow
    extent: Extent


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


def listing(
    conn: sa.Connection, *, site: str, now: datetime, settings: Alarms = DEFAULT_ALARMS
) -> Listing:
    """The lists of the page; what asks most for a person comes first. Steady are presses of `site` only."""
    names = _press_names(conn)
    unclosed = sorted(alarm_store.unclosed(conn), key=_urgency)
    needed = _lines((row for row in unclosed if row.beneath is None), names)
    quiet = _lines((row for row in unclosed if row.beneath is not None), names)
    closed = _lines(alarm_store.closed(conn, last=LATELY), names)
    busy = {line.press for line in (*needed, *quiet)}
    return Listing(needed, quiet, closed, tuple(sorted(_reporting(conn, site, now, settings) - busy)))


def _reporting(conn: sa.Connection, site: str, now: datetime, settings: Alarms) -> set[str]:
    """Presses whose newest shot is not older than what is called silence; of others nothing can be said."""
    query = sa.select(presses).where(presses.c.site == site, presses.c.last_shot_at.is_not(None))
    found = set()
    for row in conn.execute(query):
        at = row.last_shot_at if row.heard_at is None else max(row.last_shot_at, row.heard_at)
        cycles = settings.silent_cycles_of.get(row.name, settings.silent_cycles)
        quiet_s = (now - at).total_seconds()
        if quiet_s <= max(cycles * (row.usual_cycle_s or USUAL_CYCLE_S), settings.silent_least_s):
            found.add(row.name)
    return found


def first_press(conn: sa.Connection) -> str | None:
    """The press whose open alarm asks most for a person; None when all is steady."""
    of_press = [row for row in alarm_store.unclosed(conn) if row.press_id is not None and row.beneath is None]
    needed = min(of_press, key=_urgency, default=None)
    return None if needed is None else _whose(_press_names(conn), needed)


def fingerprint(conn: sa.Connection) -> tuple[int, datetime | None, int, int]:
    """Changes whenever an alarm is new or takes a step, or something is set aside or comes back."""
    row = conn.execute(sa.select(sa.func.count(), sa.func.max(alarms.c.changed_at)).select_from(alarms)).one()
    ended = conn.execute(sa.select(sa.func.count(), sa.func.count(set_aside_rows.c.ended_at))).one()
    return int(row[0]), row[1], int(ended[0]), int(ended[1])


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
        press=_whose(_press_names(conn), alarm),
        alarm=alarm,
        run=None if run is None else run.name,
        mold=None if run is None else run.mold,
        began=places.get(alarm.change_shot_id),
        earliest=earliest,
        latest=places.get(alarm.change_high_shot_id),
        moved=moved,
        turned={item.key: places[item.turned_shot_id] for item in moved if item.turned_shot_id in places},
        events=_events(conn, alarm.press_id, earliest or first, first),
        holds=tuple(_held(conn, hold) for hold in hold_store.of_alarm(conn, alarm_id)),
        steps=tuple(alarm_store.steps(conn, alarm_id)),
        shelf=set_asides.shelf_of(conn, alarm_id),
    )


def _urgency(alarm: AlarmRow) -> tuple[int, float]:
    return _ORDER.get(alarm.state, len(_ORDER)), -alarm.changed_at.timestamp()


_ORDER = {
    state: place
    for place, state in enumerate(
        (
            "active_unacknowledged", "latched_unacknowledged", "returned_unacknowledged",
            "active_acknowledged", "latched_acknowledged", "normal",
        )
    )
}


def _lines(rows: Iterable[AlarmRow], names: dict[int, str]) -> tuple[AlarmLine, ...]:
    return tuple(AlarmLine(_whose(names, row), row) for row in rows)


def _whose(names: Mapping[int, str], alarm: AlarmRow) -> str:
    return SERVICE if alarm.press_id is None else names[alarm.press_id]


def _press_names(conn: sa.Connection) -> dict[int, str]:
    return {row.id: row.name for row in conn.execute(sa.select(presses.c.id, presses.c.name))}


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


def _held(conn: sa.Connection, hold: HoldRow) -> Held:
    extent = hold_store.extent(
        conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=hold.to_shot_id
    )
    return Held(hold, extent)


def all_open_holds(conn: sa.Connection) -> list[tuple[str, Held]]:
    """Every hold that waits for a decision, with its press, oldest first."""
    names = _press_names(conn)
    return [(names[hold.press_id], _held(conn, hold)) for hold in hold_store.open_holds(conn)]


def decided_holds(conn: sa.Connection) -> list[tuple[str, Held]]:
    """The holds decided last, with their press, newest first."""
    names = _press_names(conn)
    return [(names[hold.press_id], _held(conn, hold)) for hold in hold_store.decided(conn, last=LATELY)]


def out_of_service(conn: sa.Connection) -> list[tuple[str, SetAside]]:
    """What is out of service, with its press, oldest first."""
    names = _press_names(conn)
    return [
        (names[each.press_id], each)
        for each in set_asides.lasting(conn)
        if each.kind == set_asides.OUT_OF_SERVICE and each.press_id is not None
    ]


def charted_keys(conn: sa.Connection) -> list[str]:
    """Characteristics that have or had limits on any press."""
    return sorted(conn.execute(sa.select(limits.c.key).distinct()).scalars())


def press_ids(conn: sa.Connection) -> dict[str, int]:
    """Presses by their names."""
    query = sa.select(presses.c.name, presses.c.id).where(presses.c.site != SITE)
    return {row.name: row.id for row in conn.execute(query)}


def shot_of(conn: sa.Connection, press_id: int, counter: int) -> int | None:
    """The newest shot of a press with this counter; None when it has none."""
    query = sa.select(sa.func.max(shots.c.id))
    found = conn.execute(query.where(shots.c.press_id == press_id, shots.c.counter == counter)).scalar()
    return None if found is None else int(found)


def open_holds(found: Sequence[Held]) -> list[Held]:
    """Those that nobody has released or scrapped."""
    return [each for each in found if each.hold.state == hold_store.OPEN]
