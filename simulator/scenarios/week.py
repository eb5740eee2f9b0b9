"""An ordinary week of the shop, with what goes wrong in any week."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from simulator.faults import Episode
from simulator.floor import post, run_name
from simulator.line import Line
from simulator.records import SimRecord
from simulator.scenarios.cases import known
from simulator.scenarios.story import Part, Story, tell
from simulator.scenarios.times import (
    AFTER_LUNCH,
    FIRST_RUN,
    FIRST_STANDING,
    LUNCH,
    QUALIFICATION_SHOTS,
    SHIFT_BEGINS,
    SHIFT_ENDS,
    merged,
    utc,
)
from simulator.spans import Span

MOST_PRESSES = 6


def ordinary_week(seed: int, start: datetime, *, presses: int = 2) -> Iterator[SimRecord]:
    """Monday to Friday, with a fault-free qualification run on the Sunday before.

    Parameters
    ----------
    seed : int
        The same seed and start give the same records.
    start : datetime
        Aware; midnight of a Monday, UTC.
    presses : int
        P1 to P`presses`, 1 to 6; those after P2 have a sound week.

    Yields
    ------
    SimShot or SimEvent
        In time order over all presses. Monday afternoon a new lot of blend B on P1, set aside by evening;
        Tuesday a coolant line of P2's core clogs slowly from 13:00 to 17:00; Wednesday evening somebody opens
        P1's gate early; Thursday morning P2's check ring leaks; Friday is sound.

    Raises
    ------
    ValueError
        When `start` is not midnight of a Monday in UTC, or for another number of presses.
    """
    monday = utc(start)
    if monday.weekday() != 0 or monday.time() != datetime.min.time():
        raise ValueError(f"the week must start at midnight of a Monday in UTC, not at {start.isoformat()}")
    if not 1 <= presses <= MOST_PRESSES:
        raise ValueError(f"the week has {presses} presses; give 1 to {MOST_PRESSES}")
    return merged(
        Line(post(number), seed=seed, episodes=week_episodes(monday), standing=FIRST_STANDING).records(
            week_spans(monday, number, presses=presses)
        )
        for number in range(1, presses + 1)
    )


def week_story(seed: int, start: datetime, *, presses: int = MOST_PRESSES) -> Story:
    """The ordinary week of up to six presses as a story; the week is the one that `start` lies in."""
    moment = utc(start)
    monday = datetime.combine(moment.date() - timedelta(days=moment.weekday()), datetime.min.time(), UTC)
    parts = []
    for number in range(1, presses + 1):
        qualification, *spans = week_spans(monday, number, presses=presses)
        place = post(number)
        episodes = tuple(episode for episode in week_episodes(monday) if episode.press == place.press)
        parts.append(Part(place=place, spans=spans, episodes=episodes, qualification=qualification))
    return tell(seed, monday + SHIFT_BEGINS, parts)


def week_end(start: datetime) -> datetime:
    """When the last shift of `ordinary_week` ends; `live` can go on from there."""
    return utc(start) + timedelta(days=4) + SHIFT_ENDS


def week_episodes(monday: datetime) -> tuple[Episode, ...]:
    """Return the truth of the week: what went wrong, where, from when to when."""

    def episode(fault: str, number: int, day: int, hours: tuple[float, float]) -> Episode:
        start, end = (monday + timedelta(days=day, hours=hour) for hour in hours)
        case = known(fault, post(number))
        return Episode(fault=fault, press=f"P{number}", start=start, end=end, case=case)

    clogged = episode("blocked_coolant_core", 2, 1, (13, 17))
    slowly = replace(clogged.case.times(0.95), rise_s=3600.0)
    return (
        episode("lot_change", 1, 0, (14.1, 22)),
        replace(clogged, case=slowly),
        episode("early_gate", 1, 2, (18.2, 22)),
        episode("worn_check_ring", 2, 3, (9.5, 12)),
    )


def week_spans(monday: datetime, number: int, *, presses: int) -> Iterator[Span]:
    """Qualification on Sunday, then five days of two shifts with lunch."""
    yield Span(
        start=monday - timedelta(days=1) + SHIFT_BEGINS,
        run=run_name(FIRST_RUN + number - 1),
        shots=QUALIFICATION_SHOTS,
    )
    for day in range(5):
        midnight = monday + timedelta(days=day)
        run = run_name(FIRST_RUN + presses * (day + 1) + number - 1)
        yield Span(start=midnight + SHIFT_BEGINS, end=midnight + LUNCH, run=run, stop_reason="lunch")
        yield Span(start=midnight + AFTER_LUNCH, end=midnight + SHIFT_ENDS, run=run)
