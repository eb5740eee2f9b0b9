"""The figures that a set of scored stories is judged by, and the goals they are held to."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from simulator.score import Score, Told
from simulator.score_sums import Figure, over_stories, proportion, quantile, rate

MEDIAN, LATE = 0.5, 0.9
Figures = dict[str, Figure]


def figures(scores: Sequence[Score]) -> Figures:
    """Sum up stories.

    Returns
    -------
    dict of str to Figure
        `shown`: faults that the telemetry shows, of all that are not of messages. Of the shown ones:
        `alarmed`; `in_time`, of those that put discs out of tolerance; `delay_*` in shots from the first
        touched one and `from_out_*` from the first disc out of tolerance, both infinite where never alarmed;
        `hours_gained_*` against gauging that disc after 24 h; `error_*` and `covered` of the estimated first
        shot, among the alarmed ones. Of the stories: `false_per_day`, `out_held`, `held_ratio` and its parts.
    """
    told = [each for score in scores for each in score.told if not each.matter.of_messages]
    shown = [each for each in told if each.matter.shown_by]
    movers = [each for each in shown if each.matter.out]
    alarmed = [each for each in shown if each.alarmed]
    return {
        "shown": proportion(len(shown), len(told)),
        "alarmed": proportion(len(alarmed), len(shown)),
        "in_time": proportion(sum(bool(each.in_time) for each in movers), len(movers)),
        **_quantiles(scores, "delay", _delay),
        **_quantiles(scores, "from_out", _delay_from_out),
        **_quantiles(scores, "hours_gained", _hours),
        "false_per_day": _false_per_day(scores),
        "out_held": over_stories(scores, _ratio(lambda s: s.out_held, lambda s: s.out)),
        "held_ratio": over_stories(scores, _ratio(lambda s: s.held, lambda s: s.perfect)),
        "held_ratio_of_movers": over_stories(
            scores, _ratio(lambda s: s.held - s.held_sound - s.held_needless, lambda s: s.perfect)
        ),
        "held_sound_ratio": over_stories(scores, _ratio(lambda s: s.held_sound, lambda s: s.perfect)),
        "held_needless_ratio": over_stories(scores, _ratio(lambda s: s.held_needless, lambda s: s.perfect)),
        **_quantiles(scores, "error", _error),
        "covered": proportion(sum(bool(each.covered) for each in alarmed), len(alarmed)),
        "set_size": over_stories(scores, _measure(_set_size, MEDIAN)),
    }


def _false_per_day(scores: Sequence[Score]) -> Figure:
    """Each alarm and each sound shot once: stories of one seed begin with the same ones."""
    days = {each.identity: each.days for score in scores for each in score.sound}
    alarms = {(each.shot, each.charts) for score in scores for each in score.false_alarms}
    return rate(len(alarms), sum(days.values()))


@dataclass(frozen=True, slots=True)
class Goal:
    """What a figure should reach: `value` is at least or at most `bound`."""

    figure: str
    says: str
    bound: float
    at_least: bool
    of_low: bool = False  # the low end of the interval counts, not the figure

    def met(self, found: Figure) -> bool | None:
        """Whether it is reached; None where there was nothing to judge."""
        number = found.low if self.of_low else found.value
        if math.isnan(number):
            return None
        return number >= self.bound if self.at_least else number <= self.bound


GOALS = (
    Goal("in_time", "shown faults with discs out of tolerance, alarmed before gauging", 0.95, at_least=True),
    Goal("out_held", "discs out of tolerance inside holds", 0.95, at_least=True),
    Goal("held_ratio", "shots held, against a perfect observer", 1.5, at_least=False),
    Goal("false_per_day", "false alarms a press-day, low end", 1.0, at_least=False, of_low=True),
    Goal("covered", "true first shot inside its 90 % set", 0.85, at_least=True),
)


def unseen(scores: Iterable[Score]) -> dict[str, tuple[int, int, int]]:
    """Faults with instances that no telemetry shows: (such instances, those that put discs out, all)."""
    counts: dict[str, tuple[int, int, int]] = {}
    for score in scores:
        for told in score.told:
            hidden = not told.matter.shown_by and not told.matter.of_messages
            without, out, every = counts.get(told.matter.fault, (0, 0, 0))
            counts[told.matter.fault] = (
                without + hidden, out + bool(hidden and told.matter.out), every + 1,
            )  # fmt: skip
    return {fault: found for fault, found in counts.items() if found[0]}


def _shown(score: Score) -> list[Told]:
    return [told for told in score.told if told.matter.shown_by and not told.matter.of_messages]


def _delay(told: Told) -> float | None:
    return math.inf if told.delay is None else float(told.delay)


def _delay_from_out(told: Told) -> float | None:
    if not told.matter.out:
        return None
    return math.inf if told.delay_from_out is None else float(told.delay_from_out)


def _hours(told: Told) -> float | None:
    return told.hours_gained


def _error(told: Told) -> float | None:
    return None if told.error is None else abs(float(told.error))


def _set_size(told: Told) -> float | None:
    return None if told.set_size is None else float(told.set_size)


def _measure(
    value: Callable[[Told], float | None], share: float
) -> Callable[[Sequence[Score]], tuple[float, int]]:
    def measure(scores: Sequence[Score]) -> tuple[float, int]:
        found = [v for score in scores for told in _shown(score) if (v := value(told)) is not None]
        return quantile(found, share), len(found)

    return measure


def _quantiles(scores: Sequence[Score], name: str, value: Callable[[Told], float | None]) -> Figures:
    return {
        f"{name}_median": over_stories(scores, _measure(value, MEDIAN)),
        f"{name}_90": over_stories(scores, _measure(value, LATE)),
    }


def _ratio(
    above: Callable[[Score], float], below: Callable[[Score], float]
) -> Callable[[Sequence[Score]], tuple[float, int]]:
    def measure(scores: Sequence[Score]) -> tuple[float, int]:
        total = sum(below(score) for score in scores)
        return (sum(above(score) for score in scores) / total if total else math.nan), int(total)

    return measure
