"""Which place of a message holds its time, and how it is written there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import product
from typing import Any

from collector.contract.mapping_shape import Place
from collector.contract.mapping_times import TimeFormat, read_time
from collector.contract.mapping_words import has_role, words_of

_DATES = ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%Y/%m/%d")
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%I:%M:%S %p")
_FIRST, _LAST = datetime(2001, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """Where the time stands and how it is written."""

    pointers: tuple[str, ...]
    format: TimeFormat
    pattern: str | None = None
    zone: str | None = None
    doubts: tuple[str, ...] = ()


def guess_time(places: Sequence[Place]) -> TimeGuess | None:
    """The time of the message: an end before a start, a place with a name for it before another."""
    found = [guess for place in places if (guess := _written(place)) is not None]
    found = found or _in_two(places)
    if not found:
        return None
    chosen = min(found, key=_rank)
    others = [" with ".join(each.pointers) for each in found if each is not chosen]
    if not others:
        return chosen
    doubt = f"{' and '.join(others[:3])} may be the end of the cycle instead"
    return TimeGuess(chosen.pointers, chosen.format, chosen.pattern, chosen.zone, (*chosen.doubts, doubt))


def _rank(guess: TimeGuess) -> tuple[bool, bool]:
    name = guess.pointers[0].rpartition("/")[2]
    words = set(words_of(name))
    return not words & {"end", "ended", "finished"}, not has_role(name, "time")


def _written(place: Place) -> TimeGuess | None:
    values = place.values[:20]
    if not values:
        return None
    where = (place.pointer,)
    if not isinstance(values[0], str):
        forms: tuple[TimeFormat, ...] = ("epoch_s", "epoch_ms")
        named = has_role(place.steps[-1] if place.steps else "", "time")
        return next(
            (
                TimeGuess(where, form, doubts=() if named else ("only its size says that it is a time",))
                for form in forms
                if _all_read(values, form)
            ),
            None,
        )
    if _all_read(values, "iso"):
        return TimeGuess(where, "iso")
    doubt = "no zone is named: is it UTC, or the press's local time?"
    if _all_read(values, "iso", zone="UTC") and all(":" in str(each) for each in values):
        return TimeGuess(where, "iso", zone="UTC", doubts=(doubt,))
    return _by_pattern(where, values, doubt)


def _by_pattern(where: tuple[str, ...], values: Sequence[Any], doubt: str) -> TimeGuess | None:
    fitting = [
        f"{date} {clock}"
        for date, clock in product(_DATES, _CLOCKS)
        if _all_read(values, "local", zone="UTC", pattern=f"{date} {clock}")
    ]
    if not fitting:
        return None
    doubts = (doubt, *(f"the order may be {each} as well" for each in fitting[1:]))
    return TimeGuess(where, "local", fitting[0], "UTC", doubts)


def _in_two(places: Sequence[Place]) -> list[TimeGuess]:
    """A date at one place and a clock time at another."""
    texts = [place for place in places if place.values and isinstance(place.values[0], str)]
    dates = [place for place in texts if any(_is(place, form) for form in _DATES)]
    clocks = [place for place in texts if any(_is(place, form) for form in _CLOCKS)]
    doubt = "no zone is named: is it UTC, or the press's local time?"
    found = []
    for date, clock in product(dates[:2], clocks[:2]):
        values = [f"{one} {two}" for one, two in zip(date.values[:20], clock.values[:20], strict=False)]
        found.append(_by_pattern((date.pointer, clock.pointer), values, doubt))
    return [each for each in found if each is not None]


def _is(place: Place, form: str) -> bool:
    try:
        for value in place.values[:20]:
            datetime.strptime(str(value), form)  # noqa: DTZ007 - only whether it reads
    except ValueError:
        return False
    return True


def _all_read(
    values: Sequence[Any], form: TimeFormat, *, zone: str | None = None, pattern: str | None = None
) -> bool:
    try:
        return all(_FIRST <= read_time(value, form, zone, pattern, now=_LAST) <= _LAST for value in values)
    except ValueError:
        return False
