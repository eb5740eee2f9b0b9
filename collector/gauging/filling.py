"""Which discs lie in a tray: those of its latest filling."""

from __future__ import annotations

from collections.abc import Iterable

from collector.gauging.model import Disc


def latest_filling(discs: Iterable[Disc]) -> list[Disc]:
    """Discs of the last time a tray was filled, oldest first.

    A tray fills from its first position up; where the position falls back, it had been emptied. Where
    positions are not known, a new run begins with an empty tray.

    Parameters
    ----------
    discs : iterable of Disc
        Everything one press put into one tray, in any order.
    """
    filling: list[Disc] = []
    for disc in sorted(discs, key=lambda d: (d.ended_at, d.shot_id), reverse=True):
        if filling and not _precedes(disc, filling[-1]):
            break
        filling.append(disc)
    return filling[::-1]


def _precedes(earlier: Disc, later: Disc) -> bool:
    if earlier.tray_position is None or later.tray_position is None:
        return earlier.run_id == later.run_id
    # A tray that is half full at the end of a run may be filled up by the next one.
    return earlier.tray_position < later.tray_position
