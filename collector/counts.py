"""What a transaction is told of the time, and what became of its messages."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime


@dataclass(slots=True)
class Counts:
    """What became of the messages of a batch."""

    stored: int = 0
    late: int = 0
    past: int = 0  # shots of a run older than the newest shot of their press
    duplicates: int = 0
    amended: int = 0
    refused: int = 0
    gaugings: int = 0
    waiting: int = 0  # gaugings whose disc is not found yet; they are among `gaugings`
    other: int = 0

    def add(self, more: Counts) -> None:
        """Add another batch's counts to these."""
        for each in fields(self):
            setattr(self, each.name, getattr(self, each.name) + getattr(more, each.name))


@dataclass(frozen=True, slots=True)
class Moment:
    """Service and wall time of a transaction, and how fast the service's runs."""

    now: datetime
    wall: datetime
    speed: float = 1.0
