"""Which leases a collector should take, and which give up. Pure."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from collector.store.leases import Lease

__all__ = ["Plan", "plan"]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to take and what to give up, each in the order of the leases."""

    take: tuple[Lease, ...]
    give_up: tuple[Lease, ...]


def plan(
    rows: Sequence[Lease], *, me: str, held: Collection[str], present: int, wall: datetime
) -> Plan:
    """Divide the leases evenly among the collectors that are there.

    Parameters
    ----------
    rows : sequence of Lease
        Every lease of the site.
    me : str
        Name of this collector.
    held : collection of str
        Names of the leases that it knows it has. One that is ours in the store alone was taken by a
        transaction whose answer was lost; it is taken once more.
    present : int
        Collectors that are there, this one among them.
    wall : datetime
        Time that leases are judged by.

    Returns
    -------
    Plan
        Never both: what is taken is free, and what is given up is above an even portion, so that two
        collectors do not hand a lease to and fro.
    """
    most = ceil(len(rows) / max(1, present))
    mine = [each for each in rows if each.name in held]
    free = [each for each in rows if each.name not in held and (each.holder == me or each.free(wall))]
    return Plan(take=tuple(free[: max(0, most - len(mine))]), give_up=tuple(mine[most:]))
