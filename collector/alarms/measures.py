"""How much the alarms ask of people, in the measures of the standard and against its figures. Pure.

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016, monitoring and assessment, at least 30 days of data (from memory). The
standard's chattering is by the minute; by shots it is common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from collector.alarms.flood import PERIOD, Flood, counts, floods

DAYS = 30
HOUR = timedelta(hours=1)
STALE_AFTER = timedelta(hours=24)
MANY_AN_HOUR = 30
MANY_A_PERIOD = 10
TOP = 10
CHATTERS = 3  # times in CHATTER_CYCLES usual cycles
CHATTER_CYCLES = 20

# What asks a person to look anew.
CALLING = frozenset({"occur", "reoccur", "realarm", "unshelve", "unsuppress", "put_back"})
UNKNOWN_CAUSE = "unknown after checks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """An alarm called for a person: which alarm, when, and what it is about."""

    alarm_id: int
    at: datetime
    about: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What became of an alarm.

    Attributes
    ----------
    id, about
    cycle_s : float
        Usual cycle of its press, for what counts as chattering.
    waits_s : tuple of float
        From each call that was acknowledged to its acknowledgement.
    active_since : datetime or None
        Since when the condition is there, None when it is not.
    calls_now : bool
        Nobody has acknowledged it, and nothing keeps it quiet.
    closed : bool
    cause : str or None
    dome : {'outside', 'inside'} or None
        What the discs it touched showed later; None where none of them was gauged.
    """

    id: int
    about: str
    cycle_s: float
    waits_s: tuple[float, ...]
    active_since: datetime | None
    calls_now: bool
    closed: bool
    cause: str | None
    dome: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Frequent:
    """One of the most frequent alarms, and its share of all calls."""

    about: str
    calls: int
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """The measures of one stretch of time; shares are from 0 to 1, counts of load are for each operator."""

    since: datetime
    until: datetime
    calls: int
    a_day: float
    an_hour: float
    most_an_hour: float
    hours_with_many: float
    most_a_period: float
    periods_with_many: float
    floods: tuple[Flood, ...]
    time_in_flood: float
    top: tuple[Frequent, ...]
    top_share: float
    chattering: tuple[str, ...]
    stale: tuple[str, ...]
    waits_s: tuple[float, ...]
    waiting: int
    closed: int
    with_cause: int
    gauged: int
    confirmed: int
    shelved: int
    out_of_service: int

    @property
    def days(self) -> float:
        """Length of the stretch in days."""
        return (self.until - self.since) / timedelta(days=1)


def measure(
    calls: Sequence[Call],
    lives: Sequence[Life],
    *,
    since: datetime,
    until: datetime,
    operators: int,
    shelved: int,
    out_of_service: int,
) -> Measures:
    """Compute the measures.

    Parameters
    ----------
    calls : sequence of Call
        Of the stretch, oldest first.
    lives : sequence of Life
        Alarms that lived in the stretch.
    since, until : datetime
        The stretch, floor time; what is before the first shot of the floor should not be in it.
    operators : int
        People who handle alarms at the same time.
    shelved, out_of_service : int
        What is kept quiet now.

    Returns
    -------
    Measures
    """
    times = [call.at for call in calls]
    hours = counts(times, since, until, HOUR)
    periods = counts(times, since, until, PERIOD)
    found = floods(times, operators=operators)
    length = until - since
    top = _most_frequent(calls)
    closed = [life for life in lives if life.closed]
    gauged = [life for life in lives if life.dome is not None]
    return Measures(
        since=since,
        until=until,
        calls=len(calls),
        a_day=_ratio(len(calls), length / timedelta(days=1) * operators),
        an_hour=_ratio(len(calls), length / HOUR * operators),
        most_an_hour=max(hours, default=0) / operators,
        hours_with_many=_share(count > MANY_AN_HOUR * operators for count in hours),
        most_a_period=max(periods, default=0) / operators,
        periods_with_many=_share(count > MANY_A_PERIOD * operators for count in periods),
        floods=found,
        time_in_flood=_ratio(sum((f.ended - f.began for f in found), timedelta()) / HOUR, length / HOUR),
        top=top,
        top_share=sum(each.share for each in top),
        chattering=_chattering(calls, lives),
        stale=tuple(life.about for life in lives if is_stale(life, until)),
        waits_s=tuple(sorted(wait for life in lives for wait in life.waits_s)),
        waiting=sum(life.calls_now for life in lives),
        closed=len(closed),
        with_cause=sum(life.cause not in (None, "", UNKNOWN_CAUSE) for life in closed),
        gauged=len(gauged),
        confirmed=sum(life.dome == "outside" for life in gauged),
        shelved=shelved,
        out_of_service=out_of_service,
    )


def is_stale(life: Life, now: datetime) -> bool:
    """Whether an alarm has been active for more than a day."""
    return life.active_since is not None and now - life.active_since > STALE_AFTER


def middle(values: Sequence[float], share: float) -> float | None:
    """The value below which a share of sorted values lies (nearest rank), None of none."""
    if not values:
        return None
    return values[min(int(share * len(values)), len(values) - 1)]


def _most_frequent(calls: Sequence[Call]) -> tuple[Frequent, ...]:
    counted = Counter(call.about for call in calls).most_common(TOP)
    return tuple(Frequent(about=about, calls=n, share=n / len(calls)) for about, n in counted)


def _chattering(calls: Sequence[Call], lives: Sequence[Life]) -> tuple[str, ...]:
    """What called `CHATTERS` times within `CHATTER_CYCLES` usual cycles."""
    cycle_s = {life.id: life.cycle_s for life in lives}
    by_alarm: dict[int, list[Call]] = {}
    for call in calls:
        by_alarm.setdefault(call.alarm_id, []).append(call)
    found = []
    for alarm_id, own in by_alarm.items():
        longest = timedelta(seconds=CHATTER_CYCLES * cycle_s.get(alarm_id, 60.0))
        if any(last.at - first.at <= longest for first, last in zip(own, own[CHATTERS - 1 :], strict=False)):
            found.append(own[0].about)
    return tuple(dict.fromkeys(found))


def _share(flags: Iterable[bool]) -> float:
    known = list(flags)
    return _ratio(sum(known), len(known))


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole else 0.0


def waits(steps: Iterable[tuple[str, datetime]]) -> tuple[float, ...]:
    """Seconds from each call of one alarm to its acknowledgement; `steps` are (event, time), oldest first."""
    told = [(event, at) for event, at in steps if event in CALLING or event == "acknowledge"]
    return tuple(
        (after - before).total_seconds()
        for (first, before), (second, after) in pairwise(told)
        if first in CALLING and second == "acknowledge"
    )
