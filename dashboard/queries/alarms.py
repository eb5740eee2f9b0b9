"""The lists of the alarms page: which alarms need a person, which are kept quiet, what is out of service."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.alarms.silence import USUAL_CYCLE_S
from collector.settings_alarms import Alarms
from collector.store import alarms as alarm_store
from collector.store import set_asides
from collector.store.alarms import AlarmRow
from collector.store.set_asides import SetAside
from collector.store.tables import alarms, limits, presses
from collector.store.tables import set_asides as set_aside_rows
from collector.store.withdrawn import SITE

LATELY = 20
DEFAULT_ALARMS = Alarms()
SERVICE = "Service"  # where an alarm belongs to no press


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


def listing(
    conn: sa.Connection, *, site: str, now: datetime, settings: Alarms = DEFAULT_ALARMS
) -> Listing:
    """The lists of the page; what asks most for a person comes first. Steady are presses of `site` only."""
    names = press_names(conn)
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
    return None if needed is None else whose(press_names(conn), needed)


def fingerprint(conn: sa.Connection) -> tuple[int, datetime | None, int, int]:
    """Changes whenever an alarm is new or takes a step, or something is set aside or comes back."""
    row = conn.execute(sa.select(sa.func.count(), sa.func.max(alarms.c.changed_at)).select_from(alarms)).one()
    ended = conn.execute(sa.select(sa.func.count(), sa.func.count(set_aside_rows.c.ended_at))).one()
    return int(row[0]), row[1], int(ended[0]), int(ended[1])


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
    return tuple(AlarmLine(whose(names, row), row) for row in rows)


def whose(names: Mapping[int, str], alarm: AlarmRow) -> str:
    """The press of an alarm, or the service."""
    return SERVICE if alarm.press_id is None else names[alarm.press_id]


def press_names(conn: sa.Connection) -> dict[int, str]:
    """Names of all presses by their number."""
    return {row.id: row.name for row in conn.execute(sa.select(presses.c.id, presses.c.name))}


def out_of_service(conn: sa.Connection) -> list[tuple[str, SetAside]]:
    """What is out of service, with its press, oldest first."""
    names = press_names(conn)
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
