"""Handing over what waits in the outbox.

Messages are claimed in a transaction before they are sent and settled in another one after. A crash between
the two leaves them claimed; the next worker takes them again, a message to people excepted: it may have
arrived, so it is marked and not sent a second time. So a message to the broker or the log is handed over at
least once, one to people at most once, and of the retained ones of a topic the newest is the last.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

import sqlalchemy as sa

from collector.alarms.channels import Channel
from collector.clock import ServiceClock
from collector.errors import DeliveryError, MaybeSent
from collector.store import channels as channel_store
from collector.store import database, journal, outbox
from collector.store.alarms import SERVICE
from collector.store.outbox import Message

STALE_CLAIM = timedelta(minutes=1)
FIRST_WAIT = timedelta(seconds=1)
LONGEST_WAIT = timedelta(minutes=5)
MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Courier:
    """Who hands over, on what, and to whom.

    Attributes
    ----------
    engine : Engine
        The store.
    channels : mapping of str to Channel
        Connected channels by the name that the outbox uses.
    clock : ServiceClock
        Its wall time is asked again for each step.
    worker : str
        Names this process in its claims.
    random : Random
        Spreads the waits before another try, so that many workers do not come back at once.
    elsewhere : collection of str or None
        Channels that others of this process serve. What waits for a channel that nobody serves fails here.
        None leaves everything to others but what `channels` name.
    most : int
        Messages claimed at once.
    """

    engine: sa.Engine
    channels: Mapping[str, Channel]
    clock: ServiceClock
    worker: str
    random: Random
    elsewhere: Collection[str] | None = ()
    most: int = MOST_AT_ONCE

    def deliver(self) -> int:
        """Send the messages that are due; how many were handed over."""
        claimed = self._claim()
        if not claimed:
            return 0
        errors = self._send(claimed)
        with database.write(self.engine) as conn:
            for message, error in zip(claimed, errors, strict=True):
                self._settle(conn, message, error)
        return errors.count(None)

    def _send(self, messages: Sequence[Message]) -> list[DeliveryError | None]:
        """Send each; what a broken channel did not take at first, it is not asked to take again now."""
        broken: dict[str, DeliveryError] = {}
        errors = []
        for message in messages:
            error = broken.get(message.channel) or _send(self.channels, message)
            if error is not None and not error.permanent:
                broken[message.channel] = error
            errors.append(error)
        return errors

    def _claim(self) -> list[Message]:
        if not self._due():
            return []
        wall = self.clock.wall()
        with database.write(self.engine) as conn:
            outbox.give_up_doubtful(conn, stale_before=wall - STALE_CLAIM)
            return [
                message
                for message in self._due(conn)
                if outbox.claim(
                    conn, message.id, worker=self.worker, wall=wall, stale_before=wall - STALE_CLAIM
                )
            ]

    def _due(self, conn: sa.Connection | None = None) -> Sequence[Message]:
        if conn is None:
            with database.read(self.engine) as reading:
                return self._due(reading)
        wall = self.clock.wall()
        only = self.channels.keys() if self.elsewhere is None else None
        return outbox.due(
            conn, wall=wall, stale_before=wall - STALE_CLAIM, most=self.most, only=only,
            not_on=self.elsewhere or (),
        )  # fmt: skip

    def _settle(self, conn: sa.Connection, message: Message, error: DeliveryError | None) -> None:
        wall = self.clock.wall()
        if error is None:
            outbox.sent(conn, message.id, worker=self.worker, wall=wall)
        elif isinstance(error, MaybeSent) and message.once:
            outbox.maybe_sent(conn, message.id, worker=self.worker, error=str(error))
        elif error.permanent:
            outbox.failed(conn, message.id, worker=self.worker, error=str(error))
        else:
            at = wall + back_off(message.attempts + 1, self.random)
            outbox.try_again(conn, message, worker=self.worker, next_try_at=at, error=str(error))
        if message.once:
            self._note(conn, message, error)

    def _note(self, conn: sa.Connection, message: Message, error: DeliveryError | None) -> None:
        """What a message to people says about its channel."""
        wall, name = self.clock.wall(), message.channel
        if error is None:
            channel_store.worked(conn, name, wall=wall)
            return
        channel_store.failed(conn, name, wall=wall, error=str(error))
        if error.permanent and channel_store.disable(conn, name, wall=wall, why=str(error)):
            journal.append(
                conn, at=self.clock.now(), wall_at=wall, who=SERVICE, action="channel off",
                subject=f"channel {name}", why=str(error),
            )  # fmt: skip


def back_off(attempts: int, random: Random) -> timedelta:
    """Wait after `attempts` failed tries: doubling from 1 s to 5 min, half of it at random."""
    whole = min(FIRST_WAIT * (1 << min(attempts - 1, 20)), LONGEST_WAIT)
    return whole * (0.5 + 0.5 * random.random())


def take_back(engine: sa.Engine, *, wall: datetime, is_dead: Callable[[str], bool]) -> int:
    """Free what workers that no longer live had claimed, without waiting for a minute to pass.

    Parameters
    ----------
    engine : Engine
    wall : datetime
    is_dead : callable
        Whether the worker of that name has ended for certain.

    Returns
    -------
    int
        How many messages were freed, or marked as perhaps sent.
    """
    with database.read(engine) as conn:
        dead = [worker for worker in outbox.claims_of(conn) if is_dead(worker)]
    if not dead:
        return 0
    with database.write(engine) as conn:
        return sum(outbox.take_back(conn, worker, wall=wall) for worker in dead)


def _send(channels: Mapping[str, Channel], message: Message) -> DeliveryError | None:
    channel = channels.get(message.channel)
    if channel is None:
        return DeliveryError(f"no channel is called {message.channel}", permanent=True)
    try:
        channel.send(message.topic, message.payload, retain=message.retain)
    except DeliveryError as error:
        return error
    return None
