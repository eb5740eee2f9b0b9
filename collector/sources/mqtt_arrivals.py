"""Messages that arrived from a broker and are in no batch yet: a bounded queue, read in batches."""

from __future__ import annotations

import contextlib
import queue
import time
from collections.abc import Callable

from collector.sources.incoming import Incoming

_WINDOWS_IN_HAND = 10
# Whoever has waited so long for a next message has them all. While a batch is stored the next one gathers by
# itself, so that waiting longer makes batches no larger, but an alarm later.
_GAP_S = 0.002
_LOOK_S = 0.2  # how often whoever waits for room looks whether to go on
_IDLE_S = 0.5  # an empty batch this often lets the caller look after its timed work


class Arrivals:
    """The queue between the thread of a connection and the one that stores.

    Parameters
    ----------
    window : int
        Messages the broker may send before the first is acknowledged.
    """

    def __init__(self, window: int) -> None:
        # Bounded here as well: Mosquitto 2.0.11 sends a whole window for each acknowledgement.
        self._queue: queue.Queue[Incoming] = queue.Queue(_WINDOWS_IN_HAND * window)

    def __len__(self) -> int:
        return self._queue.qsize()

    def put(self, incoming: Incoming, *, is_over: Callable[[], bool]) -> None:
        """Add a message; one that finds no room waits for it until `is_over`."""
        try:
            self._queue.put_nowait(incoming)
        except queue.Full:
            self._wait_for_room(incoming, is_over)

    def batch(self, max_messages: int, max_wait_s: float) -> list[Incoming]:
        """The next messages in the order of their arrival; an empty list when none came for half a second."""
        batch: list[Incoming] = []
        with contextlib.suppress(queue.Empty):
            batch.append(self._queue.get(timeout=_IDLE_S))
            deadline = time.monotonic() + max_wait_s
            while len(batch) < max_messages:
                batch.append(self._next(deadline))
        return batch

    def _next(self, deadline: float) -> Incoming:
        """The next message that is here already, or comes right after; not after the deadline."""
        try:
            return self._queue.get_nowait()
        except queue.Empty:
            return self._queue.get(timeout=max(0.0, min(_GAP_S, deadline - time.monotonic())))

    def _wait_for_room(self, incoming: Incoming, is_over: Callable[[], bool]) -> None:
        """Waiting stops the reading of the socket, so that a backlog stays with the broker."""
        while not is_over():
            with contextlib.suppress(queue.Full):
                self._queue.put(incoming, timeout=_LOOK_S)
                return
