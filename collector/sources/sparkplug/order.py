"""Messages of one edge node in the order of their sequence numbers, which run from 0 to 255 and again.

ISO/IEC 20237:2023, 5.5 (message ordering of a host application, with its reorder timeout). Pure: seconds
come in as an argument.
"""

from __future__ import annotations

from typing import Generic, TypeVar

__all__ = ["Order"]

Item = TypeVar("Item")
NUMBERS = 256
HANDED_OVER_AGAIN = 16  # so many numbers back; what seems to lie further back is ahead, and much was lost


class Order(Generic[Item]):
    """Holds what comes too early until what is missing has come, or for `timeout_s`.

    Parameters
    ----------
    timeout_s : float
        Reorder timeout, in seconds.
    """

    def __init__(self, timeout_s: float) -> None:
        self._timeout_s = timeout_s
        self._expected: int | None = None  # None: the edge node is not born yet
        self._held: dict[int, Item] = {}
        self._since_s = 0.0

    def begin(self, seq: int, *, now_s: float) -> list[Item]:
        """Begin anew with the birth of the edge node; gives what had come before it and follows it."""
        if self._expected is not None:
            self._held.clear()  # of the session before
        self._expected = (seq + 1) % NUMBERS
        return self._following(now_s)

    def take(self, seq: int, item: Item, *, now_s: float) -> list[Item]:
        """What can be processed now that a message has come: it and those that waited for it, or nothing."""
        if self._expected is not None and (seq - self._expected) % NUMBERS >= NUMBERS - HANDED_OVER_AGAIN:
            return []
        if not self._held:
            self._since_s = now_s
        self._held[seq] = item
        return self._following(now_s)

    def is_overdue(self, now_s: float) -> bool:
        """Whether something has waited for longer than the timeout."""
        return bool(self._held) and now_s - self._since_s >= self._timeout_s

    def give_up(self) -> list[Item]:
        """Everything that waits, in order; what is missing will not be waited for any more."""
        start = self._expected or 0
        waiting = sorted(self._held, key=lambda seq: (seq - start) % NUMBERS)
        items = [self._held[seq] for seq in waiting]
        if waiting and self._expected is not None:
            self._expected = (waiting[-1] + 1) % NUMBERS
        self._held.clear()
        return items

    def end(self) -> list[Item]:
        """Forget the session; gives what still waited."""
        items = self.give_up()
        self._expected = None
        return items

    def _following(self, now_s: float) -> list[Item]:
        ready: list[Item] = []
        while self._expected is not None and self._expected in self._held:
            ready.append(self._held.pop(self._expected))
            self._expected = (self._expected + 1) % NUMBERS
        if ready:
            self._since_s = now_s
        return ready
