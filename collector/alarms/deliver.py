"""Handing over what waits in the outbox.

Each message is claimed in a transaction of its own before it is sent and settled in another one after. A
crash between the two leaves it claimed; after a minute another worker takes it again. So a message is handed
over at least once, and of the retained ones of a topic the newest is the last.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

import sqlalchemy as sa

from collector.alarms.channels import Channel
from collector.errors import DeliveryError
from collector.store import database, outbox
from collector.store.outbox import Message

STALE_CLAIM = timedelta(minutes=1)
FIRST_WAIT = timedelta(seconds=1)
LONGEST_WAIT = timedelta(minutes=5)
MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class _Round:
    engine: sa.Engine
    channels: Mapping[str, Channel]
    wall: Callable[[], datetime]
    worker: str
    random: Random


def deliver_due(
    engine: sa.Engine,
    channels: Mapping[str, Channel],
    *,
    wall: Callable[[], datetime],
    worker: str,
    random: Random,
) -> int:
    """Send the messages that are due.

    Parameters
    ----------
    engine : Engine
        The store.
    channels : mapping of str to Channel
        Connected channels by the name that the outbox uses; a message for a channel that is absent fails.
    wall : callable
        Wall time, asked again for each message.
    worker : str
        Names this process in its claims.
    random : Random
        Spreads the waits before another try, so that many workers do not come back at once.

    Returns
    -------
    int
        How many messages were handed over.
    """
    this = _Round(engine=engine, channels=channels, wall=wall, worker=worker, random=random)
    now = wall()
    with database.read(engine) as conn:
        messages = outbox.due(conn, wall=now, stale_before=now - STALE_CLAIM, most=MOST_AT_ONCE)
    return sum(_deliver(this, message) for message in messages)


def back_off(attempts: int, random: Random) -> timedelta:
    """Wait after `attempts` failed tries: doubling from 1 s to 5 min, half of it at random."""
    whole = min(FIRST_WAIT * (1 << min(attempts - 1, 20)), LONGEST_WAIT)
    return whole * (0.5 + 0.5 * random.random())


def _deliver(this: _Round, message: Message) -> bool:
    """Claim, send, settle; True when it was handed over."""
    if not _claim(this, message):
        return False
    error = _send(this.channels, message)
    with database.write(this.engine) as conn:
        if error is None:
            outbox.sent(conn, message.id, worker=this.worker, wall=this.wall())
        elif error.permanent:
            outbox.failed(conn, message.id, worker=this.worker, error=str(error))
        else:
            at = this.wall() + back_off(message.attempts + 1, this.random)
            outbox.try_again(conn, message, worker=this.worker, next_try_at=at, error=str(error))
    return error is None


def _claim(this: _Round, message: Message) -> bool:
    now = this.wall()
    with database.write(this.engine) as conn:
        return outbox.claim(conn, message.id, worker=this.worker, wall=now, stale_before=now - STALE_CLAIM)


def _send(channels: Mapping[str, Channel], message: Message) -> DeliveryError | None:
    channel = channels.get(message.channel)
    if channel is None:
        return DeliveryError(f"no channel is called {message.channel}", permanent=True)
    try:
        channel.send(message.topic, message.payload, retain=message.retain)
    except DeliveryError as error:
        return error
    return None
