"""The threads that empty the outbox: one for broker and log, one for each channel to people.

A channel that hangs so delays nobody but itself. Each thread looks when it is asked to, which is right after
every commit that may have added something, and once a second for what becomes due by itself.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from random import Random

import sqlalchemy as sa

from collector.alarms.channels import Channel
from collector.alarms.deliver import Courier, take_back
from collector.clock import ServiceClock
from collector.errors import StoreUnavailable

log = logging.getLogger("evenrun.delivery")

STOP_S = 10.0  # for all channels together, when the process ends


class Delivery:
    """Empties the outbox whenever it is asked to.

    Parameters
    ----------
    engine : Engine
    shared : mapping of str to Channel
        Channels that never hang: the broker's and the log's.
    people : mapping of str to Channel
        Channels to people; each gets a thread of its own.
    tell_people : callable
        Adds the messages to people that are due by now.
    clock : ServiceClock
    random : Random
    """

    def __init__(
        self,
        engine: sa.Engine,
        shared: Mapping[str, Channel],
        people: Mapping[str, Channel],
        *,
        tell_people: Callable[[], int],
        clock: ServiceClock,
        random: Random,
    ) -> None:
        self._engine = engine
        self._clock = clock
        self._tell_people = tell_people
        self._worker = worker_name()

        def courier(channels: Mapping[str, Channel], elsewhere: object, most: int) -> Courier:
            return Courier(
                engine=engine, channels=channels, clock=clock, worker=self._worker, random=random,
                elsewhere=elsewhere, most=most,  # type: ignore[arg-type]
            )  # fmt: skip

        # One at a time to people: what is claimed when the process dies may have arrived, and counts as such.
        self._to_people = [
            _Loop(name, courier({name: channel}, None, 1).deliver) for name, channel in people.items()
        ]
        main = courier(shared, tuple(people), 100)
        self._main = _Loop("delivery", main.deliver)
        self._notifying = _Loop("notifying", self._tell)

    def start(self) -> None:
        """Free what a killed predecessor left, and start the threads."""
        try:
            freed = take_back(self._engine, wall=self._clock.wall(), is_dead=self._is_dead)
        except StoreUnavailable as error:
            log.warning("what a collector before this one left claimed waits for a minute: %s", error)
        else:
            if freed:
                log.info("%d messages were in hand when the last collector ended", freed)
        for loop in (*self._to_people, self._main, self._notifying):
            loop.start()

    def soon(self) -> None:
        """Look at the outbox now."""
        self._main.soon()
        self._notifying.soon()
        for loop in self._to_people:
            loop.soon()

    def stop(self) -> None:
        """Finish the rounds in hand and end the threads; a channel that hangs is not waited for any longer.

        What it had in hand stays claimed, and the next collector marks it as perhaps sent.
        """
        loops = (*self._to_people, self._main, self._notifying)
        for loop in loops:
            loop.ask_to_stop()
        until = time.monotonic() + STOP_S
        for loop in loops:
            loop.join(until - time.monotonic())

    def _tell(self) -> int:
        if self._tell_people():
            for loop in self._to_people:
                loop.soon()
        return 0

    def _is_dead(self, worker: str) -> bool:
        """Whether a worker of this machine has ended; of one of another machine nobody knows."""
        host, _, number = worker.partition(":")
        if host != socket.gethostname() or not number.isdigit():
            return False
        # A claim under our own name is of an earlier process with our number: we have claimed nothing yet.
        return worker == self._worker or not _lives(int(number))


def worker_name() -> str:
    """This process in its claims."""
    return f"{socket.gethostname()}:{os.getpid()}"


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


@dataclass(slots=True)
class _Loop:
    """A thread that does one thing whenever it is asked to, and again at once while there is more of it."""

    name: str
    work: Callable[[], int]
    _wanted: threading.Event = field(default_factory=threading.Event)
    _stopped: bool = False
    _thread: threading.Thread | None = None

    def start(self) -> None:
        self._thread = threading.Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def soon(self) -> None:
        self._wanted.set()

    def ask_to_stop(self) -> None:
        self._stopped = True
        self._wanted.set()

    def join(self, longest_s: float) -> None:
        if self._thread is not None:
            self._thread.join(timeout=max(longest_s, 0.0))

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            if self._stopped:
                return
            self._wanted.clear()
            try:
                while self.work() and not self._stopped:
                    continue
            except StoreUnavailable as error:
                log.warning("the outbox waits: %s", error)
            except Exception:  # whatever it is, alarms after it must still go out
                log.exception("the outbox waits for its next round")
