"""Which discs of a run left the tolerance, and between which good ones. Pure.

Gaugings of neighboring discs that are all outside are one matter: what lies between two good discs may be
like them, since nobody gauged it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby


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
    """Discs outside of the tolerance without a good one between.

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
    stretches = [
        (outside, tuple(each))
        for outside, each in groupby(readings, key=lambda reading: bounds.excess(reading.value) != 0)
    ]
    return list(_groups(stretches, bounds))


def _groups(stretches: Sequence[tuple[bool, tuple[Reading, ...]]], bounds: Bounds) -> Iterator[Group]:
    for place, (outside, mine) in enumerate(stretches):
        if not outside:
            continue
        before = stretches[place - 1][1][-1].shot_id if place else None
        after = stretches[place + 1][1][0].shot_id if place + 1 < len(stretches) else None
        worst = max(mine, key=lambda reading: abs(bounds.excess(reading.value)))
        yield Group(bad=mine, after_good=before, before_good=after, worst=worst)
