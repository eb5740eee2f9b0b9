"""Collecting one part of the presses: its session, its pipeline, a thread.

The thread ends when it is told to, when another collector has the lease, or when the session of a former
division is empty. What nobody foresaw it keeps in `failure`, for the process to end with.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from collector.errors import LeaseLost
from collector.sources import mqtt_connection
from collector.sources.incoming import Incoming, already_acknowledged
from collector.sources.mqtt import MqttSource
from collector.sources.mqtt_settings import MqttSettings
from collector.sources.sparkplug.work import SparkplugWork
from collector.store.leases import Lease

__all__ = ["Part", "Work"]

log = logging.getLogger("evenrun.leases")

AGAIN_S = 5.0
EMPTY_AFTER = 4  # batches in a row without a message, half a second each


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What a part needs besides its lease.

    Attributes
    ----------
    settings : MqttSettings
        With the lease's name as client id.
    connect : callable
        From settings to a source that is not started.
    takes : callable
        Whether a message of a topic belongs to the part.
    take : callable
        Take messages until the store has them, or an event is set; True when the store has them.
    max_messages, max_wait_s : int, float
        Most messages in a batch, and the longest wait for it to fill, in seconds.
    beside : SparkplugWork or None
        What else is collected under this lease.
    """

    settings: MqttSettings
    connect: Callable[[MqttSettings], MqttSource]
    takes: Callable[[str], bool]
    take: Callable[[list[Incoming], threading.Event], bool]
    max_messages: int
    max_wait_s: float
    beside: SparkplugWork | None = None


class Part:
    """One held lease at work.

    Parameters
    ----------
    lease : Lease
    work : Work
    """

    def __init__(self, lease: Lease, work: Work) -> None:
        self.lease = lease
        self._failure: BaseException | None = None
        self.lost = False
        self.emptied = False
        self.source = work.connect(work.settings)
        self._work = work
        self._stop = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name=lease.name, daemon=True)

    def start(self) -> None:
        """Connect and begin."""
        self.source.start()
        self._thread.start()
        if self._work.beside is not None:
            self._work.beside.start()

    @property
    def failure(self) -> BaseException | None:
        """What nobody foresaw and ended it."""
        beside = self._work.beside
        return self._failure or (None if beside is None else beside.failure)

    @property
    def problem(self) -> str | None:
        """What is wrong with a connection, in one sentence; None when all stand."""
        beside = self._work.beside
        return self.source.problem or (None if beside is None else beside.problem)

    def end_session(self) -> None:
        """Take nothing new any more; once the session is empty, end it and say so by `emptied`."""
        self._ending.set()

    def stop(self, *, say_offline: bool, wait_s: float) -> None:
        """Let the batch in hand be finished for a while, disconnect, keep the session on the broker."""
        self._stop.set()
        self._thread.join(wait_s)
        if self._work.beside is not None:
            self._work.beside.stop(wait_s=wait_s)
        self.source.close(say_offline=say_offline)

    def _run(self) -> None:
        try:
            self._collect()
            if self._ending.is_set() and not self._stop.is_set():
                self._empty()
        except LeaseLost as error:
            log.warning("%s", error)
            self.lost = True
        except Exception as error:  # noqa: BLE001 - the main thread raises it again
            self._failure = error

    def _collect(self) -> None:
        for batch in self.source.batches(self._work.max_messages, self._work.max_wait_s):
            if self._stop.is_set() or self._ending.is_set():
                return  # what came last is not acknowledged, and comes again
            self._store(batch)

    def _store(self, batch: list[Incoming]) -> None:
        if self.lease.parts == 1:
            self._taken(batch)
            return
        # Acknowledged here, so that it is done in the order of arrival, as 4.6 of MQTT 5.0 asks for.
        mine = [each._replace(ack=already_acknowledged) for each in batch if self._work.takes(each.topic)]
        if self._taken(mine):
            _acknowledge(batch)

    def _taken(self, messages: list[Incoming]) -> bool:
        return not messages or self._work.take(messages, self._stop)

    def _empty(self) -> None:
        """Take what the session of a former division still has, and end it."""
        self.source.close(say_offline=False)
        self.source = self._work.connect(replace(self._work.settings, ends=True))
        self.source.start()
        quiet = 0
        for batch in self.source.batches(self._work.max_messages, self._work.max_wait_s):
            if self._stop.is_set():
                return
            self._store(batch)
            quiet = 0 if batch or not self.source.connected else quiet + 1
            if quiet >= EMPTY_AFTER:
                break
        self.source.close(say_offline=False)
        self._forget()

    def _forget(self) -> None:
        """End the empty session, as soon as the broker can be reached."""
        while not self._stop.is_set():
            try:
                mqtt_connection.forget(self._work.settings)
            except OSError as error:
                log.warning("the session %s is empty but could not be ended yet: %s", self.lease.name, error)
                self._stop.wait(AGAIN_S)
            else:
                self.emptied = True
                return


def _acknowledge(batch: Sequence[Incoming]) -> None:
    for each in batch:
        each.ack()
