"""Which discs to gauge next: the edges of a hold, discs spread through it, and one control a tray."""

from __future__ import annotations

import bisect
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum

from collector.gauging.model import Disc

SPREAD = 6  # discs spread through a hold; its edges tell where it ends, these tell what it is like


class Why(IntEnum):
    """Reasons to gauge a disc; the lower comes first."""

    EDGE = 0
    HOLD = 1
    CONTROL = 2


@dataclass(frozen=True, slots=True)
class Proposal:
    """A disc to gauge, why, and from when on."""

    disc: Disc
    why: Why
    due_at: datetime
    hold_id: int | None = None

    def is_ripe(self, now: datetime) -> bool:
        """Whether the disc is old enough."""
        return self.due_at <= now


def of_hold(inside: Sequence[Disc], before: Disc | None, after: Disc | None) -> list[tuple[Disc, Why]]:
    """Discs that tell what a hold is worth.

    Parameters
    ----------
    inside : sequence of Disc
        Discs of the hold in the order they were made.
    before, after : Disc or None
        The last disc before it and the first one after it.

    Returns
    -------
    list of (Disc, Why)
        The edges from both sides, then discs spread evenly in between; no disc twice.
    """
    edges = [disc for disc in (before, *inside[:1], *inside[-1:], after) if disc is not None]
    chosen = {disc.shot_id: (disc, Why.EDGE) for disc in edges}
    for disc in spread(inside, SPREAD):
        chosen.setdefault(disc.shot_id, (disc, Why.HOLD))
    return list(chosen.values())


def spread(discs: Sequence[Disc], count: int) -> list[Disc]:
    """So many discs, evenly spaced, never the first or the last one when there are enough."""
    n = len(discs)
    return [discs[n * (i + 1) // (count + 1)] for i in range(min(count, n))]


def controls(starts: Sequence[Disc], gauged: Collection[Disc]) -> list[Disc]:
    """First discs of tray fillings of which no disc was gauged yet.

    Parameters
    ----------
    starts : sequence of Disc
        First discs of fillings.
    gauged : collection of Disc
        Discs that were gauged.
    """
    fillings: dict[tuple[int, str | None], list[int]] = {}
    for start in sorted(starts, key=lambda d: d.shot_id):
        fillings.setdefault((start.press_id, start.tray), []).append(start.shot_id)
    done = {_start_of(disc, fillings) for disc in gauged}
    return [start for start in starts if start.shot_id not in done]


def _start_of(disc: Disc, fillings: Mapping[tuple[int, str | None], Sequence[int]]) -> int | None:
    starts = fillings.get((disc.press_id, disc.tray), ())
    place = bisect.bisect_right(starts, disc.shot_id)
    return starts[place - 1] if place else None


def ordered(proposals: Collection[Proposal], now: datetime) -> list[Proposal]:
    """Ripe discs first, by reason; among those of one reason the oldest first."""
    return sorted(proposals, key=lambda p: (not p.is_ripe(now), p.why, p.due_at, p.disc.shot_id))


def due_from(disc: Disc, set_time_h: float) -> datetime:
    """When a disc is old enough."""
    return disc.ended_at + timedelta(hours=set_time_h)
