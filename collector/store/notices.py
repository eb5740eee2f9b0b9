"""Which channel was told of which alarm, when, and how much of it there was then."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.alarms.escalation import Reason, Told, Waiting
from collector.contract.outgoing import AlarmState
from collector.store import outbox
from collector.store.tables import alarm_steps, alarms, notices, presses
from collector.store.tables import outbox as outbox_table
from collector.store.upsert import insert_into

# A message that failed, or that was taken back before it went out, told nobody anything.
_TOLD = (outbox.WAITING, outbox.SENDING, outbox.SENT, outbox.MAYBE_SENT)
_CAME = ("occur", "reoccur", "realarm", "rise", "unshelve", "unsuppress", "put_back")
_ASKING: tuple[AlarmState, ...] = (
    *("active_unacknowledged", "returned_unacknowledged", "latched_unacknowledged"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """An alarm that nobody has acknowledged, with what a message about it says."""

    id: int
    press_id: int | None
    press: str | None
    kind: str
    subject: str | None
    state: str
    opened_at: datetime
    change_shot_id: int | None
    headline: str
    characteristics: list[dict[str, Any]]
    causes: list[dict[str, Any]] | None


def asking(conn: sa.Connection) -> list[Asking]:
    """Alarms that nobody has acknowledged and that nothing keeps quiet, oldest first."""
    columns = [alarms.c[each.name] for each in fields(Asking) if each.name != "press"]
    query = (
        sa.select(*columns, presses.c.name.label("press"))
        .join(presses, presses.c.id == alarms.c.press_id, isouter=True)
        .where(alarms.c.closed_at.is_(None), alarms.c.acknowledged_at.is_(None))
        .where(alarms.c.state.in_(_ASKING))
        .order_by(alarms.c.id)
    )
    return [Asking(**row) for row in conn.execute(query).mappings()]


def came(conn: sa.Connection, alarm_ids: Collection[int]) -> dict[int, tuple[int, datetime]]:
    """How often each alarm came, and when last (floor time)."""
    c = alarm_steps.c
    query = (
        sa.select(c.alarm_id, sa.func.count(), sa.func.max(c.at))
        .where(c.alarm_id.in_(alarm_ids), c.event.in_(_CAME))
        .group_by(c.alarm_id)
    )
    return {row[0]: (row[1], row[2]) for row in conn.execute(query)}


def told(conn: sa.Connection, alarm_ids: Collection[int]) -> dict[int, dict[str, Told]]:
    """By alarm and channel, what the channel was told last."""
    c = notices.c
    query = (
        sa.select(c.alarm_id, c.channel, c.number, c.at, c.characteristics, c.occurrences)
        .join(outbox_table, outbox_table.c.id == c.outbox_id)
        .where(c.alarm_id.in_(alarm_ids), outbox_table.c.state.in_(_TOLD))
        .order_by(c.number)
    )
    found: dict[int, dict[str, Told]] = {}
    for row in conn.execute(query):
        found.setdefault(row.alarm_id, {})[row.channel] = Told(
            number=row.number, at=row.at, characteristics=row.characteristics, occurrences=row.occurrences
        )
    return found


def numbers(conn: sa.Connection, alarm_ids: Collection[int]) -> dict[tuple[int, str], int]:
    """By alarm and channel, the number of the last message, whatever became of it."""
    c = notices.c
    query = (
        sa.select(c.alarm_id, c.channel, sa.func.max(c.number))
        .where(c.alarm_id.in_(alarm_ids))
        .group_by(c.alarm_id, c.channel)
    )
    return {(row[0], row[1]): row[2] for row in conn.execute(query)}


def tell(
    conn: sa.Connection,
    alarm: Waiting,
    channel: str,
    *,
    number: int,
    reason: Reason,
    payload: str,
    now: datetime,
    wall: datetime,
) -> bool:
    """Put one message about an alarm in the outbox.

    Parameters
    ----------
    conn : Connection
    alarm, channel, reason
        What to tell whom, and why.
    number : int
        One more than :func:`numbers` said when that was decided.
    payload : str
    now, wall : datetime

    Returns
    -------
    bool
        False when another collector decided the same meanwhile, and told it.
    """
    outbox_id = outbox.add(
        conn, channel=channel, topic=topic(alarm.alarm_id), payload=payload, retain=False, wall=wall,
        once=True,
    )  # fmt: skip
    row: dict[str, Any] = {
        "alarm_id": alarm.alarm_id, "channel": channel, "number": number, "at": now, "reason": reason,
        "characteristics": alarm.characteristics, "occurrences": alarm.occurrences, "outbox_id": outbox_id,
    }  # fmt: skip
    new = insert_into(conn, notices).values(row).on_conflict_do_nothing().returning(notices.c.id)
    if conn.execute(new).one_or_none() is not None:
        return True
    conn.execute(sa.delete(outbox_table).where(outbox_table.c.id == outbox_id))
    return False


def unsent(conn: sa.Connection, still_asking: Collection[int]) -> list[int]:
    """Messages not sent yet about alarms that somebody has in hand by now."""
    box = outbox_table.c
    query = (
        sa.select(box.id)
        .join(notices, notices.c.outbox_id == box.id)
        .where(box.state == outbox.WAITING, notices.c.alarm_id.not_in(still_asking))
    )
    return list(conn.execute(query).scalars())


def take_back(conn: sa.Connection, outbox_ids: Collection[int]) -> None:
    """End messages that were not sent yet."""
    if outbox_ids:
        conn.execute(
            sa.update(outbox_table)
            .where(outbox_table.c.id.in_(outbox_ids), outbox_table.c.state == outbox.WAITING)
            .values(state=outbox.SUPERSEDED, last_error="somebody had the alarm in hand before it was sent")
        )


def topic(alarm_id: int) -> str:
    """What a message about an alarm is about."""
    return f"alarm {alarm_id}"
