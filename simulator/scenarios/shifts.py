"""When a story's presses work, counted from its start."""

from datetime import datetime, timedelta

from simulator.floor import Post
from simulator.scenarios.story import run_of
from simulator.scenarios.times import utc
from simulator.spans import Span

TWO_SHIFTS_H = 16.0
LUNCH_AFTER_H, LUNCH_H = 6.0, 0.5


def hours_after(start: datetime, hours: float) -> datetime:
    """A time of the story, to the second."""
    return utc(start) + timedelta(seconds=round(hours * 3600))


def day(place: Post, start: datetime, *, number: int = 1, lunch_h: float = LUNCH_H) -> list[Span]:
    """Two shifts from the start on, with a stop for lunch."""
    run, begin = run_of(place, number), utc(start)
    noon, after = hours_after(begin, LUNCH_AFTER_H), hours_after(begin, LUNCH_AFTER_H + lunch_h)
    return [
        Span(start=begin, end=noon, run=run, stop_reason="lunch"),
        Span(start=after, end=hours_after(begin, TWO_SHIFTS_H), run=run),
    ]


def around_the_clock(place: Post, start: datetime, *, hours: float) -> list[Span]:
    """Without a stop."""
    return [Span(start=utc(start), end=hours_after(start, hours), run=run_of(place, 1))]
