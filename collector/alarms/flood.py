"""When more alarms came than a person can look at. Pure.

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016: a flood begins with 10 alarms in 10 minutes for an operator and ends
below 5 (from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

PERIOD = timedelta(minutes=10)
FLOOD_BEGINS = 10  # alarms in a period, for each operator
FLOOD_ENDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Flood:
    """A time in which more came than a person can look at."""

    began: datetime
    ended: datetime
    calls: int


def floods(times: Sequence[datetime], *, operators: int) -> tuple[Flood, ...]:
    """Find the floods among the times of calls, oldest first.

    One begins when the 10 minutes up to a call hold 10 for each operator, with the first of these, and ends
    with the last call after which 10 minutes hold fewer than 5.
    """
    found: list[Flood] = []
    began: int | None = None
    first = 0
    for place, at in enumerate(times):
        while times[first] <= at - PERIOD:
            first += 1
        within = place - first + 1
        if began is not None and within < FLOOD_ENDS * operators:
            found.append(_flood(times, began, place - 1))
            began = None
        if began is None and within >= FLOOD_BEGINS * operators:
            began = first
    if began is not None:
        found.append(_flood(times, began, len(times) - 1))
    return tuple(found)


def _flood(times: Sequence[datetime], first: int, last: int) -> Flood:
    return Flood(began=times[first], ended=times[last], calls=last - first + 1)


def counts(times: Iterable[datetime], since: datetime, until: datetime, width: timedelta) -> list[int]:
    """Calls in each whole or begun interval of a stretch."""
    intervals = max(-((since - until) // width), 0)
    counted = Counter((at - since) // width for at in times)
    return [counted[place] for place in range(intervals)]
