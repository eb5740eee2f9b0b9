"""Messages that wait to be handed over.

Invariant: of the retained messages of one topic only the newest is ever sent, and never two at once, so that
a slow or repeated delivery cannot put an old state back on the broker.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import outbox

WAITING, SENDING, SENT, FAILED, SUPERSEDED = "waiting", "sending", "sent", "failed", "superseded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A message that is due; `attempts` counts the tries made so far."""

    id: int
    channel: str
    topic: str
    payload: str
    retain: bool
    attempts: int


def add(conn: sa.Connection, *, channel: str, topic: str, payload: str, retain: bool, wall: datetime) -> None:
    """Put a message in the outbox; an unsent retained message of the same topic is superseded by it."""
    if retain:
        _supersede(conn, channel, topic)
    conn.execute(
        sa.insert(outbox).values(
            created_at=wall, channel=channel, topic=topic, payload=payload, retain=retain,
            state=WAITING, attempts=0, next_try_at=wall,
        )
    )  # fmt: skip


def _supersede(conn: sa.Connection, channel: str, topic: str) -> None:
    conn.execute(
        sa.update(outbox)
        .where(outbox.c.state == WAITING, outbox.c.channel == channel, outbox.c.topic == topic)
        .where(outbox.c.retain.is_(True))
        .values(state=SUPERSEDED)
    )


def due(conn: sa.Connection, *, wall: datetime, stale_before: datetime, most: int) -> list[Message]:
    """Messages to try now, oldest first: waiting ones whose time has come, and claims left by a crash."""
    columns = [outbox.c[field.name] for field in fields(Message)]
    query = sa.select(*columns).where(_claimable(wall, stale_before)).order_by(outbox.c.id).limit(most)
    return [Message(**row) for row in conn.execute(query).mappings()]


def claim(
    conn: sa.Connection, message_id: int, *, worker: str, wall: datetime, stale_before: datetime
) -> bool:
    """Mark one message as being sent by `worker`; False when somebody else was quicker."""
    rival = outbox.alias()
    sending_same_topic = (
        sa.select(rival.c.id)
        .where(rival.c.channel == outbox.c.channel, rival.c.topic == outbox.c.topic)
        .where(rival.c.id != outbox.c.id)
        .where(rival.c.retain.is_(True), rival.c.state == SENDING, rival.c.claimed_at >= stale_before)
        .exists()
    )
    result = conn.execute(
        sa.update(outbox)
        .where(outbox.c.id == message_id, _claimable(wall, stale_before))
        .where(sa.or_(outbox.c.retain.is_(False), ~sending_same_topic))
        .values(state=SENDING, claimed_by=worker, claimed_at=wall, attempts=outbox.c.attempts + 1)
    )
    return result.rowcount == 1


def _claimable(wall: datetime, stale_before: datetime) -> sa.ColumnElement[bool]:
    waiting = sa.and_(outbox.c.state == WAITING, outbox.c.next_try_at <= wall)
    left_behind = sa.and_(outbox.c.state == SENDING, outbox.c.claimed_at < stale_before)
    return sa.or_(waiting, left_behind)


def sent(conn: sa.Connection, message_id: int, *, worker: str, wall: datetime) -> None:
    """Note that a message was handed over."""
    _settle(conn, message_id, worker, {"state": SENT, "sent_at": wall, "last_error": None})


def failed(conn: sa.Connection, message_id: int, *, worker: str, error: str) -> None:
    """Note that a message can never be handed over."""
    _settle(conn, message_id, worker, {"state": FAILED, "last_error": error})


def try_again(
    conn: sa.Connection, message: Message, *, worker: str, next_try_at: datetime, error: str
) -> None:
    """Let a message wait for its next try, unless a newer retained one has taken its place."""
    state = SUPERSEDED if message.retain and _newer_exists(conn, message) else WAITING
    _settle(conn, message.id, worker, {"state": state, "next_try_at": next_try_at, "last_error": error})


def _newer_exists(conn: sa.Connection, message: Message) -> bool:
    query = sa.select(outbox.c.id).where(
        outbox.c.id > message.id, outbox.c.channel == message.channel, outbox.c.topic == message.topic
    )
    return conn.execute(query.limit(1)).first() is not None


def _settle(conn: sa.Connection, message_id: int, worker: str, values: dict[str, object]) -> None:
    # A worker whose claim was taken over after a minute no longer has a say about the message.
    conn.execute(
        sa.update(outbox)
        .where(outbox.c.id == message_id, outbox.c.state == SENDING, outbox.c.claimed_by == worker)
        .values(**values)
    )
