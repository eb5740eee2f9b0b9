"""What a collector's process knows of itself: how much it took in, how long its store took, what is wrong."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from collector.counts import Counts


@dataclass(slots=True)
class Vitals:
    """Counted by the threads that take messages in, read by others.

    Attributes
    ----------
    started_at : datetime
        Wall time.
    broker : callable
        What is wrong with the connection to the broker; None when it stands.
    protocol : callable
        Version of MQTT in use.
    in_hand : callable
        Messages that arrived and are not taken yet.
    counts : Counts
        What became of all messages since the start.
    batches, store_s : int, float
        Transactions, and the seconds they took together.
    folders : callable
        What is wrong with the watched folders, one sentence each.
    store_problem : str or None
        Why the store took no batch the last time; messages wait in memory then, unacknowledged.
    sign_problem : str or None
        Why the last sign of life could not be stored.
    """

    started_at: datetime
    broker: Callable[[], str | None]
    protocol: Callable[[], str]
    in_hand: Callable[[], int]
    folders: Callable[[], list[str]] = list
    counts: Counts = field(default_factory=Counts)
    batches: int = 0
    store_s: float = 0.0
    store_problem: str | None = None
    sign_problem: str | None = None
    _counting: threading.Lock = field(default_factory=threading.Lock)

    def took(self, counts: Counts, took_s: float) -> None:
        """Note a batch that the store took."""
        with self._counting:
            self.counts.add(counts)
            self.batches += 1
            self.store_s += took_s
            self.store_problem = None

    def as_detail(self) -> dict[str, Any]:
        """For the sign of life, which other processes read."""
        return {
            "broker": self.broker() or "connected",
            "mqtt": self.protocol(),
            "started_at": self.started_at.isoformat(),
            "in_hand": self.in_hand(),
            "batches": self.batches,
            "store_s": round(self.store_s, 3),
            "store_problem": self.store_problem,
            "folders": self.folders(),
            "counts": asdict(self.counts),
        }
