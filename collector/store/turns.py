"""Writers of one process take turns in the order in which they asked.

SQLite has one writer at a time, and whoever waits for it looks again every so often. A thread that writes one
batch after the other then has the store nearly always when the others look: under a backlog the sign of life
was locked out for more than five seconds (measured). In a queue each waits for one transaction at most.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager


class Turns:
    """A lock that is had in the order in which it was asked for."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._queue: deque[threading.Event] = deque()

    @contextmanager
    def turn(self, longest_wait_s: float) -> Iterator[bool]:
        """Wait for one's turn and have it while the block runs.

        Parameters
        ----------
        longest_wait_s : float
            After so long the block runs without its turn; the database has a say of its own.

        Yields
        ------
        bool
            Whether it is one's turn.
        """
        mine = threading.Event()
        with self._guard:
            self._queue.append(mine)
            if self._queue[0] is mine:
                mine.set()
        try:
            yield mine.wait(longest_wait_s)
        finally:
            with self._guard:
                was_first = self._queue[0] is mine
                self._queue.remove(mine)
                if was_first and self._queue:
                    self._queue[0].set()
