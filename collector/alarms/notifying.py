"""Telling people of alarms that nobody has acknowledged: from the store into the outbox.

Runs after each batch and every few seconds. It adds messages where :mod:`collector.alarms.escalation` says
that somebody has to be told now, and takes back those whose alarm somebody has in hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from collector.alarms.escalation import Reason, Waiting, to_tell
from collector.alarms.message_text import alarm_message
from collector.alarms.priority import priority
from collector.alarms.shifts import used_now
from collector.alarms.silence import BROKER, DATABASE
from collector.clock import ServiceClock
from collector.settings import Settings
from collector.settings_delivery import MessageChannel, Priority
from collector.store import channels, notices
from collector.store.database import read, write
from collector.store.notices import Asking

# Without these no press at all is watched.
BLIND = (BROKER, DATABASE)


@dataclass(frozen=True, slots=True)
class _Due:
    alarm: Asking
    waiting: Waiting
    channel: str
    number: int
    reason: Reason


def tell_people(engine: sa.Engine, settings: Settings, clock: ServiceClock) -> int:
    """Put messages to people in the outbox; how many.

    Raises
    ------
    StoreUnavailable
        Nothing was added; it is made up for the next time.
    """
    if not settings.channels:
        return 0
    with read(engine) as conn:
        asking = notices.asking(conn)
        due = _due(conn, asking, _usable(conn, settings, clock), settings, clock)
        overtaken = notices.unsent(conn, [alarm.id for alarm in asking])
    if not due and not overtaken:
        return 0
    zone = ZoneInfo(settings.time_zone)
    with write(engine) as conn:
        notices.take_back(conn, overtaken)
        return sum(
            notices.tell(
                conn, each.waiting, each.channel, number=each.number, reason=each.reason, now=clock.now(),
                wall=clock.wall(), payload=alarm_message(conn, each.alarm, each.reason, zone),
            )
            for each in due
        )  # fmt: skip


def _usable(conn: sa.Connection, settings: Settings, clock: ServiceClock) -> list[MessageChannel]:
    """Channels that are on, and in whose shift it is now."""
    off, now, zone = channels.disabled(conn), clock.now(), ZoneInfo(settings.time_zone)
    return [
        one
        for one in settings.channels
        if one.name not in off and used_now(one, settings.shifts, now, zone)
    ]


def _due(
    conn: sa.Connection,
    asking: Sequence[Asking],
    usable: Sequence[MessageChannel],
    settings: Settings,
    clock: ServiceClock,
) -> list[_Due]:
    if not asking or not usable:
        return []
    ids = [alarm.id for alarm in asking]
    came, told, now = notices.came(conn, ids), notices.told(conn, ids), clock.now()
    numbers = notices.numbers(conn, ids)
    found = []
    for alarm in asking:
        occurrences, since = came.get(alarm.id, (1, alarm.opened_at))
        waiting = Waiting(
            alarm_id=alarm.id, priority=_priority(alarm), since=since, occurrences=occurrences,
            active=alarm.state == "active_unacknowledged", characteristics=len(alarm.characteristics),
        )  # fmt: skip
        reasons = to_tell(waiting, told.get(alarm.id, {}), usable, settings.notify, now)
        found += [
            _Due(alarm, waiting, channel, numbers.get((alarm.id, channel), 0) + 1, reason)
            for channel, reason in reasons.items()
        ]
    return found


def _priority(alarm: Asking) -> Priority:
    what = (alarm.subject or "").partition(":")[0]
    kind = "blind" if alarm.kind == "silence" and what in BLIND else alarm.kind
    moved = alarm.characteristics
    return priority(kind, single=bool(moved) and all(each.get("single") for each in moved))
