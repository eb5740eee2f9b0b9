"""Putting the state of a press's alarms into the outbox: retained for a stack light, and as a log line.

Runs in the transaction that changed the alarms, so a message exists exactly when the change does.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import sqlalchemy as sa

from collector.alarms.headline import since
from collector.alarms.model import PressRef
from collector.contract.outgoing import AlarmMessage, AlarmState
from collector.contract.topics import alarm_topic
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import outbox
from collector.store.alarms import AlarmRow
from collector.store.tables import shots

STEADY = "Steady: no alarm."

# Which of several alarms a lamp shows: what asks most for a person comes first.
URGENCY: tuple[AlarmState, ...] = ("active_unacknowledged", "returned_unacknowledged", "active_acknowledged")


def announce(
    conn: sa.Connection, press: PressRef, *, now: datetime, wall: datetime, what: Sequence[str] = ()
) -> None:
    """Put the state of the press's alarms into the outbox.

    Parameters
    ----------
    conn : Connection
        The transaction that changed an alarm or a hold.
    press : PressRef
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
    began = _began(conn, alarm)
    parts = [" ".join(filter(None, (alarm.headline, began)))]
    held = _held(conn, alarm)
    if held is not None:
        parts.append(f"hold {hold_store.extent_words(held)}")
    return "; ".join(parts)


def _message(conn: sa.Connection, press: PressRef, now: datetime) -> AlarmMessage:
    alarm = _most_urgent(alarm_store.unclosed(conn, press_id=press.id))
    if alarm is None:
        return AlarmMessage(
            site=press.site, press=press.name, at=now, active=False, state="normal", alarm=None,
            sentence=STEADY, characteristics=(), since_counter=None, hold=(),
        )  # fmt: skip
    held = _held(conn, alarm)
    return AlarmMessage(
        site=press.site, press=press.name, at=now, active=True, state=alarm.state, alarm=alarm.id,
        sentence=sentence(conn, alarm), characteristics=tuple(item["key"] for item in alarm.characteristics),
        since_counter=_counter(conn, alarm.change_shot_id), hold=() if held is None else held.trays,
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


def _began(conn: sa.Connection, alarm: AlarmRow) -> str:
    row = conn.execute(
        sa.select(shots.c.counter, shots.c.ended_at).where(shots.c.id == alarm.change_shot_id)
    ).first()
    return "" if row is None else since(row.counter, row.ended_at, UTC, zone_name="UTC")


def _counter(conn: sa.Connection, shot_id: int | None) -> int | None:
    counter = conn.execute(sa.select(shots.c.counter).where(shots.c.id == shot_id)).scalar()
    return None if counter is None else int(counter)
