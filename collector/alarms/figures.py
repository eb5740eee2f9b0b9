"""The measures of the alarms beside the figures of the standard, in words. Pure.

References
----------
IEC 62682:2022 and ANSI/ISA-18.2-2016, monitoring and assessment, table of performance metrics (from memory):
about 6 an hour and 144 a day for each operator are very likely acceptable, 12 an hour and 288 a day the most
that is manageable; less than 1 % of the hours with more than 30 and of the 10-minute periods with more than
10, and no period above 10; less than 1 % of the time in flood; the ten most frequent alarms no more than 5 %
of all, with plans for more; no alarm chatters; fewer than 5 stale on any day. How long an acknowledgement may
take, and what share of alarms must be explained, it does not say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from collector.alarms.measures import DAYS, Measures, middle
from collector.contract.figures import counted, percent

Stands = Literal["inside", "outside", "not judged"]
NO_FIGURE = "gives no figure"
ENOUGH_CALLS = 50  # of fewer, any ten are most of them; common practice, no source


@dataclass(frozen=True, slots=True)
class Figure:
    """One measure: its name, its value, what the standard says, and whether it is met."""

    measure: str
    value: str
    standard: str
    stands: Stands


def figures(found: Measures) -> list[Figure]:
    """Set the measures beside the standard's figures, the load first."""
    return [*_load(found), *_nuisance(found), *_handling(found)]


def period_words(found: Measures) -> str:
    """Which time was measured, and whether that is enough."""
    if found.days >= DAYS - 0.01:
        return f"The last {DAYS} days."
    days = f"{found.days:.1f}"
    return f"Only {days} days are there; the standard asks for {DAYS} before anything is concluded."


def _load(found: Measures) -> list[Figure]:
    day, hour, period = found.a_day, found.an_hour, found.most_a_period
    hours, periods, flood = found.hours_with_many, found.periods_with_many, found.time_in_flood
    floods = counted(len(found.floods), "flood")
    return [
        _judged("Alarms a day, each operator", f"{day:.1f}", "144; at most 288", day <= 288),
        _judged("Alarms an hour, each operator", f"{hour:.1f}", "6; at most 12", hour <= 12),
        _judged("Hours with more than 30", percent(hours, 1), "under 1 %", hours < 0.01),
        _judged("10-minute periods with more than 10", percent(periods, 1), "under 1 %", periods < 0.01),
        _judged("Most in 10 minutes", f"{period:.0f}", "at most 10", period <= 10),
        _judged("Time in flood", f"{percent(flood, 1)}, {floods}", "under 1 %", flood < 0.01),
    ]


def _nuisance(found: Measures) -> list[Figure]:
    few = found.calls < ENOUGH_CALLS
    return [
        Figure(
            "Share of the ten most frequent",
            f"{percent(found.top_share)} of {counted(found.calls, 'alarm')}",
            f"at most 5 %; judged from {ENOUGH_CALLS} alarms on" if few else "at most 5 %",
            "not judged" if few else "inside" if found.top_share <= 0.05 else "outside",
        ),
        _judged("Chattering", f"{len(found.chattering)}", "none", not found.chattering),
        _judged("Active for more than a day", f"{len(found.stale)}", "under 5", len(found.stale) < 5),
        Figure("Shelved now", f"{found.shelved}", "a list that is looked at", "not judged"),
        Figure("Out of service now", f"{found.out_of_service}", "a list that is looked at", "not judged"),
    ]  # fmt: skip


def _handling(found: Measures) -> list[Figure]:
    half, most = middle(found.waits_s, 0.5), middle(found.waits_s, 0.9)
    waited = "none yet" if half is None or most is None else f"{_span(half)}; nine of ten {_span(most)}"
    return [
        Figure("Half are acknowledged within", waited, NO_FIGURE, "not judged"),
        Figure("Nobody has them yet", f"{found.waiting}", NO_FIGURE, "not judged"),
        Figure("Closed with a known cause", _of(found.with_cause, found.closed), NO_FIGURE, "not judged"),
        Figure("Confirmed by dome", _of(found.confirmed, found.gauged), NO_FIGURE, "not judged"),
    ]


def _judged(measure: str, value: str, standard: str, met: object) -> Figure:
    return Figure(measure, value, standard, "inside" if met else "outside")


def _of(part: int, whole: int) -> str:
    return f"{part} of {whole} ({percent(part / whole)})" if whole else "none yet"


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
