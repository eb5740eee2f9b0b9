"""Putting the state of a press's alarms into the outbox: retained for a stack light, and as a log line.

Runs in the transaction that changed the alarms, so a message exists exactly when the change does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import sqlalchemy as sa

from collector.alarms.extent_words import extent_words
from collector.alarms.headline import since
from collector.alarms.model import PressRef
from collector.contract.outgoing import AlarmMessage, AlarmState
from collector.contract.topics import RESERVED_PRESS, alarm_topic
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import outbox
from collector.store.alarms import AlarmRow
from collector.store.tables import shots

STEADY = "Steady: no alarm."

# Which of several alarms the message speaks of: what asks most for a person comes first.
CALLS: tuple[AlarmState, ...] = (
    "active_unacknowledged", "latched_unacknowledged", "returned_unacknowledged", "active_acknowledged",
)  # fmt: skip
URGENCY: tuple[AlarmState, ...] = (
    *CALLS, "latched_acknowledged", "shelved", "out_of_service", "suppressed_by_design",
)  # fmt: skip
_BEGAN = sa.select(shots.c.counter, shots.c.ended_at).where(shots.c.id == sa.bindparam("shot_id"))
_KEPT_QUIET = {
    "shelved": "shelved", "out_of_service": "out of service",
    "suppressed_by_design": "the press starts up or stands",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class ServiceRef:
    """The service of a site, whose own alarms stand where those of a press would."""

    site: str
    id: None = None
    name: str = RESERVED_PRESS


@dataclass(frozen=True, slots=True)
class _Began:
    """The shot at which an alarm began."""

    counter: int | None
    ended_at: datetime


def whose(conn: sa.Connection, alarm: AlarmRow) -> PressRef | ServiceRef:
    """The press of an alarm, or the service that raised it about itself."""
    if alarm.press_id is None:
        return ServiceRef(alarm.site or "")
    return PressRef(id=alarm.press_id, **alarm_store.press_of(conn, alarm.press_id))


def announce(
    conn: sa.Connection,
    press: PressRef | ServiceRef,
    *,
    now: datetime,
    wall: datetime,
    what: Sequence[str] = (),
) -> None:
    """Put the state of the press's alarms into the outbox.

    Parameters
    ----------
    conn : Connection
        The transaction that changed an alarm or a hold.
    press : PressRef or ServiceRef
        Whose alarms.
    now, wall : datetime
        Floor time for the message, wall time for the delivery.
    what : sequence of str
        Log lines that say what happened.
    """
    topic = alarm_topic(press.site, press.name)
    payload = _message(conn, press, now).payload().decode()
    outbox.add(conn, channel="mqtt", topic=topic, payload=payload, retain=True, wall=wall)
    for line in what:
        outbox.add(conn, channel="log", topic=topic, payload=line, retain=False, wall=wall)


def sentence(conn: sa.Connection, alarm: AlarmRow) -> str:
    """Say what moved, since which shot, and what to hold, with UTC times."""
    return _said(alarm, _began(conn, alarm), _held(conn, alarm))


def _said(alarm: AlarmRow, began: _Began | None, held: hold_store.Extent | None) -> str:
    first = "" if began is None else since(began.counter, began.ended_at, UTC, zone_name="UTC")
    parts = [" ".join(filter(None, (alarm.headline, first)))]
    if held is not None:
        parts.append(f"hold {extent_words(held)}")
    return "; ".join(parts)


def _message(conn: sa.Connection, press: PressRef | ServiceRef, now: datetime) -> AlarmMessage:
    alarm = _most_urgent(alarm_store.shown(conn, press_id=press.id, site=press.site))
    if alarm is None:
        return AlarmMessage(
            site=press.site, press=press.name, at=now, active=False, state="normal", alarm=None,
            sentence=STEADY, characteristics=(), since_counter=None, hold=(),
        )  # fmt: skip
    began, held = _began(conn, alarm), _held(conn, alarm)
    quiet = _KEPT_QUIET.get(alarm.state)
    said = _said(alarm, began, held)
    return AlarmMessage(
        site=press.site, press=press.name, at=now, active=alarm.state in CALLS, state=alarm.state,
        alarm=alarm.id, sentence=f"{said} ({quiet})" if quiet else said,
        characteristics=tuple(item["key"] for item in alarm.characteristics),
        since_counter=None if began is None else began.counter, hold=() if held is None else held.trays,
    )  # fmt: skip


def _most_urgent(alarms: Sequence[AlarmRow]) -> AlarmRow | None:
    shown = [alarm for alarm in alarms if alarm.state in URGENCY]
    return min(shown, key=lambda alarm: (URGENCY.index(alarm.state), -alarm.id), default=None)


def _held(conn: sa.Connection, alarm: AlarmRow) -> hold_store.Extent | None:
    mine = [hold for hold in hold_store.of_alarm(conn, alarm.id) if hold.state == hold_store.OPEN]
    if not mine:
        return None
    hold = mine[-1]
    return hold_store.extent(
        conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=hold.to_shot_id
    )


def _began(conn: sa.Connection, alarm: AlarmRow) -> _Began | None:
    row = conn.execute(_BEGAN, {"shot_id": alarm.change_shot_id}).first()
    return None if row is None else _Began(*row)
