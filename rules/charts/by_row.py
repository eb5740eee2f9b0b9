"""How does a chart that remembers nothing take rows: one at a time, or many?

It judges each row by itself, so its state is nothing and one row is an array of one. Shewhart's charts of
subgroups and counts are of this kind.

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from numpy.typing import ArrayLike

from rules.charts.chart import FloatArray, Point, Track
from rules.charts.record import Record, table

__all__ = ["ByRow", "NoMemory", "only_point"]


@dataclass(frozen=True, slots=True)
class NoMemory:
    """Nothing: each row is judged by itself."""


class ByRow(Record[NoMemory]):
    """Streaming and whole-array form of a chart from the one function that judges rows."""

    __slots__ = ()

    state_type: ClassVar[type[NoMemory]] = NoMemory

    @property
    def columns(self) -> int:
        """How many numbers a row has: a count and its size, unless the chart says otherwise."""
        return 2

    def judge_rows(self, rows: FloatArray) -> Track:
        """Return what many rows did, shape (n, columns), NaN where a number is missing."""
        raise NotImplementedError

    def start(self) -> NoMemory:
        """Return the state before the first row."""
        return NoMemory()

    def step(self, state: NoMemory, row: Sequence[float]) -> tuple[NoMemory, Point]:
        """Take one row."""
        return state, only_point(self.judge_rows(table([row], self.columns)))

    def run(self, rows: ArrayLike, state: NoMemory | None = None) -> tuple[NoMemory, Track]:
        """Take many rows."""
        return state or self.start(), self.judge_rows(table(rows, self.columns))


def only_point(track: Track) -> Point:
    """Return the point of a track of one row."""
    signals = tuple(rule for _, rule in track.signals)
    return Point(float(track.statistic[0]), float(track.share[0]), signals, int(track.direction[0]))
