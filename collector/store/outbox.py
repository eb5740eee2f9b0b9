"""Messages that wait to be handed over.

Invariants: of the retained messages of one topic only the newest is ever sent, and never two at once, so that
a slow or repeated delivery cannot put an old state back on the broker. A message that goes to people
(`once`) and may have arrived is never sent again; it is marked so instead.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import outbox

WAITING, SENDING, SENT, FAILED, SUPERSEDED, MAYBE_SENT = (
    *("waiting", "sending", "sent"), *("failed", "superseded", "maybe_sent"),
)  # fmt: skip
CUT_OFF = "the collector ended while it was being sent; it may have arrived"

_ADD = sa.insert(outbox).returning(outbox.c.id)
_SUPERSEDE = (
    sa.update(outbox)
    .where(
        outbox.c.state == WAITING,
        outbox.c.channel == sa.bindparam("by_channel"),
        outbox.c.topic == sa.bindparam("by_topic"),
        outbox.c.retain.is_(True),
    )
    .values(state=SUPERSEDED)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A message that is due; `attempts` counts the tries made so far."""

    id: int
    channel: str
    topic: str
    payload: str
    retain: bool
    attempts: int
    once: bool


@dataclass(frozen=True, slots=True)
class Queue:
    """What waits on one channel: how many messages, and since when (wall) the oldest."""

    channel: str
    waiting: int
    oldest_at: datetime


def add(
    conn: sa.Connection,
    *,
    channel: str,
    topic: str,
    payload: str,
    retain: bool,
    wall: datetime,
    once: bool = False,
) -> int:
    """Put a message in the outbox; an unsent retained message of the same topic is superseded by it.

    Returns
    -------
    int
        Number of the message.
    """
    if retain:
        _supersede(conn, channel, topic)
    new = {
        "created_at": wall, "channel": channel, "topic": topic, "payload": payload, "retain": retain,
        "once": once, "state": WAITING, "attempts": 0, "next_try_at": wall,
    }  # fmt: skip
    return int(conn.execute(_ADD, new).scalar_one())


def _supersede(conn: sa.Connection, channel: str, topic: str) -> None:
    conn.execute(_SUPERSEDE, {"by_channel": channel, "by_topic": topic})


def due(
    conn: sa.Connection,
    *,
    wall: datetime,
    stale_before: datetime,
    most: int,
    only: Collection[str] | None = None,
    not_on: Collection[str] = (),
) -> list[Message]:
    """Messages to try now, oldest first: waiting ones whose time has come, and claims left by a crash.

    Parameters
    ----------
    conn : Connection
    wall : datetime
        Now.
    stale_before : datetime
        A claim that is older was left by a crash.
    most : int
        Most messages.
    only, not_on : collection of str
        Of these channels only, where given; and of none of those.
    """
    columns = [outbox.c[field.name] for field in fields(Message)]
    query = sa.select(*columns).where(_claimable(wall, stale_before), outbox.c.channel.not_in(not_on))
    if only is not None:
        query = query.where(outbox.c.channel.in_(only))
    return [Message(**row) for row in conn.execute(query.order_by(outbox.c.id).limit(most)).mappings()]


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
    left_behind = sa.and_(
        outbox.c.state == SENDING, outbox.c.claimed_at < stale_before, outbox.c.once.is_(False)
    )
    return sa.or_(waiting, left_behind)


def give_up_doubtful(conn: sa.Connection, *, stale_before: datetime) -> int:
    """Mark messages to people whose sender died as perhaps sent; how many there were."""
    return _marked_doubtful(conn, outbox.c.claimed_at < stale_before)


def claims_of(conn: sa.Connection) -> set[str]:
    """Workers that have claimed a message and not settled it."""
    query = sa.select(outbox.c.claimed_by).where(outbox.c.state == SENDING).distinct()
    return {worker for worker in conn.execute(query).scalars() if worker is not None}


def take_back(conn: sa.Connection, dead_worker: str, *, wall: datetime) -> int:
    """Free what a worker that no longer lives had claimed; how many messages that were.

    A message to people may have arrived and is marked so; any other waits again, unless a newer retained one
    has taken its place.
    """
    mine = sa.and_(outbox.c.state == SENDING, outbox.c.claimed_by == dead_worker)
    doubtful = _marked_doubtful(conn, outbox.c.claimed_by == dead_worker)
    newer = outbox.alias()
    replaced = (
        sa.select(newer.c.id)
        .where(newer.c.channel == outbox.c.channel, newer.c.topic == outbox.c.topic)
        .where(newer.c.id > outbox.c.id, newer.c.retain.is_(True))
        .exists()
    )
    old = conn.execute(
        sa.update(outbox).where(mine, outbox.c.retain.is_(True), replaced).values(state=SUPERSEDED)
    )
    again = conn.execute(sa.update(outbox).where(mine).values(state=WAITING, next_try_at=wall))
    return doubtful + old.rowcount + again.rowcount


def _marked_doubtful(conn: sa.Connection, which: sa.ColumnElement[bool]) -> int:
    done = conn.execute(
        sa.update(outbox)
        .where(outbox.c.state == SENDING, outbox.c.once.is_(True), which)
        .values(state=MAYBE_SENT, last_error=CUT_OFF)
    )
    return done.rowcount


def sent(conn: sa.Connection, message_id: int, *, worker: str, wall: datetime) -> None:
    """Note that a message was handed over."""
    _settle(conn, message_id, worker, {"state": SENT, "sent_at": wall, "last_error": None})


def failed(conn: sa.Connection, message_id: int, *, worker: str, error: str) -> None:
    """Note that a message can never be handed over."""
    _settle(conn, message_id, worker, {"state": FAILED, "last_error": error})


def maybe_sent(conn: sa.Connection, message_id: int, *, worker: str, error: str) -> None:
    """Note that nobody knows whether a message arrived; it is not sent again."""
    _settle(conn, message_id, worker, {"state": MAYBE_SENT, "last_error": error})


def try_again(
    conn: sa.Connection, message: Message, *, worker: str, next_try_at: datetime, error: str
) -> None:
    """Let a message wait for its next try, unless a newer retained one has taken its place."""
    state = SUPERSEDED if message.retain and _newer_exists(conn, message) else WAITING
    _settle(conn, message.id, worker, {"state": state, "next_try_at": next_try_at, "last_error": error})


def drop_waiting(conn: sa.Connection, channel: str, *, state: str, why: str, topic: str | None = None) -> int:
    """End messages of a channel that were not sent yet, all of them or those of one topic."""
    which = [outbox.c.state == WAITING, outbox.c.channel == channel]
    if topic is not None:
        which.append(outbox.c.topic == topic)
    return conn.execute(sa.update(outbox).where(*which).values(state=state, last_error=why)).rowcount


def queues(conn: sa.Connection) -> Sequence[Queue]:
    """Channels on which something waits or is being sent."""
    c = outbox.c
    query = (
        sa.select(c.channel, sa.func.count(), sa.func.min(c.created_at))
        .where(c.state.in_((WAITING, SENDING)))
        .group_by(c.channel)
        .order_by(c.channel)
    )
    return [Queue(*row) for row in conn.execute(query)]


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
