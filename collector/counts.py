"""What became of the messages of a transaction."""

from __future__ import annotations

from dataclasses import dataclass, fields


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
