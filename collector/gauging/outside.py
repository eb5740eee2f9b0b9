"""Which discs of a run left the tolerance, and between which good ones. Pure.

Gaugings outside that lie close together are one matter, though a good disc may lie between: where the level
sits at the bound, good and bad ones take turns. What nobody gauged around them may be like them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

GOOD_TO_END = 5  # good discs in a row that end a matter; common practice, no source


@dataclass(frozen=True, slots=True)
class Bounds:
    """Allowed range of a characteristic, canonical unit; None is an open side, and the bounds are inside."""

    low: float | None
    high: float | None

    def excess(self, value: float) -> float:
        """How far above (+) or below (-) the range a value lies; 0 inside."""
        if self.high is not None and value > self.high:
            return value - self.high
        if self.low is not None and value < self.low:
            return value - self.low
        return 0.0

    def nearest(self, value: float) -> float:
        """The bound that a value outside has passed."""
        return value - self.excess(value)


@dataclass(frozen=True, slots=True)
class Reading:
    """The value that counts for one disc, and its number."""

    gauging_id: int
    shot_id: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Discs outside of the tolerance with fewer than `GOOD_TO_END` good ones between.

    Attributes
    ----------
    bad : tuple of Reading
        In the order of their shots.
    after_good, before_good : int or None
        The last good disc before them and the first after them, by shot; None where none was gauged.
    worst : Reading
        The one farthest outside.
    """

    bad: tuple[Reading, ...]
    after_good: int | None
    before_good: int | None
    worst: Reading

    def holds(self, shot_id: int) -> bool:
        """Whether a shot lies between the good discs around the group."""
        return (self.after_good is None or shot_id > self.after_good) and (
            self.before_good is None or shot_id < self.before_good
        )


def groups(readings: Sequence[Reading], bounds: Bounds) -> list[Group]:
    """Split the readings of one run into groups of discs outside of the tolerance.

    Parameters
    ----------
    readings : sequence of Reading
        One a disc, in the order of the shots.
    bounds : Bounds

    Returns
    -------
    list of Group
        In the order of the shots.
    """
    places = [place for place, each in enumerate(readings) if bounds.excess(each.value) != 0]
    starts = [
        index
        for index, place in enumerate(places)
        if index == 0 or place - places[index - 1] > GOOD_TO_END
    ]
    return [
        _group(readings, places[start:end], bounds) for start, end in pairwise([*starts, len(places)])
    ]


def _group(readings: Sequence[Reading], places: Sequence[int], bounds: Bounds) -> Group:
    first, last = places[0], places[-1]
    bad = tuple(readings[place] for place in places)
    return Group(
        bad=bad,
        after_good=readings[first - 1].shot_id if first else None,
        before_good=readings[last + 1].shot_id if last + 1 < len(readings) else None,
        worst=max(bad, key=lambda reading: abs(bounds.excess(reading.value))),
    )
