"""The measures of the standard, on calls whose answers can be counted by hand.

The figures beside them are those of IEC 62682:2022 and ANSI/ISA-18.2-2016 (from memory). The calls are
invented; counts by hour and by ten minutes are held against pandas.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alarms.figures import figures, period_words
from collector.alarms.flood import counts, floods
from collector.alarms.measures import Call, Life, Measures, is_stale, measure, middle, waits

T0 = datetime(2026, 3, 1, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def at(minutes: float) -> datetime:
    return T0 + minutes * MINUTE


def life(number: int = 1, **changes: Any) -> Life:
    fields: dict[str, Any] = {
        "id": number, "about": f"P1: alarm {number}", "cycle_s": 60.0, "waits_s": (), "active_since": None,
        "calls_now": False, "closed": True, "cause": "check ring", "dome": None,
    }  # fmt: skip
    return Life(**(fields | changes))


def measured(
    minutes: list[float], *, days: float = 30.0, operators: int = 1, lives: tuple[Life, ...] = (),
    shelved: int = 0,
) -> Measures:  # fmt: skip
    calls = [Call(alarm_id=1, at=at(m), about="P1: cushion") for m in sorted(minutes)]
    return measure(
        calls, lives, since=T0, until=T0 + timedelta(days=days), operators=operators,
        shelved=shelved, out_of_service=0,
    )


def stands(found: Measures) -> dict[str, str]:
    return {each.measure: each.stands for each in figures(found)}


def test_the_load_is_counted_for_each_operator() -> None:
    found = measured([float(n) for n in range(0, 30 * 24 * 60, 10)])  # 6 an hour
    assert (found.a_day, found.an_hour, found.most_a_period, found.most_an_hour) == (144.0, 6.0, 1.0, 6.0)
    assert stands(found)["Alarms a day, each operator"] == "inside"
    both = measured([float(n) for n in range(0, 30 * 24 * 60, 4)], operators=2)  # 15 an hour for two
    assert both.an_hour == 7.5
    alone = stands(measured([float(n) for n in range(0, 30 * 24 * 60, 4)]))
    assert alone["Alarms an hour, each operator"] == "outside"


@given(st.lists(st.integers(0, 3 * 24 * 60 - 1), max_size=200))
def test_counts_by_interval_are_those_of_pandas(minutes: list[int]) -> None:
    times = [at(m) for m in sorted(minutes)]
    until = T0 + timedelta(days=3)
    for width, freq in ((HOUR, "1h"), (10 * MINUTE, "10min")):
        grid = pd.date_range(T0, until, freq=freq, inclusive="left")
        theirs = pd.Series(1, index=pd.DatetimeIndex(times, tz="UTC")).resample(freq).sum()
        assert counts(times, T0, until, width) == theirs.reindex(grid, fill_value=0).tolist()


def test_a_flood_begins_with_ten_in_ten_minutes_and_ends_below_five() -> None:
    times = [at(m) for m in [*range(10), 12, 14, 16, 18, 60, 61]]
    (flood,) = floods(times, operators=1)
    assert (flood.began, flood.ended) == (at(0), at(18))
    assert flood.calls == 14
    assert floods(times, operators=2) == ()
    assert floods([at(m) for m in range(9)], operators=1) == ()


def test_two_floods_are_two() -> None:
    times = [at(m) for m in [*range(10), *range(300, 311)]]
    assert [(f.began, f.calls) for f in floods(times, operators=1)] == [(at(0), 10), (at(300), 11)]


@given(st.lists(st.integers(0, 600), max_size=150))
def test_floods_are_found_as_by_looking_at_every_call(minutes: list[int]) -> None:
    """The same rule, computed anew at every call instead of carried along."""
    times = [at(m) for m in sorted(minutes)]
    within = [sum(t - 10 * MINUTE < earlier for earlier in times[: n + 1]) for n, t in enumerate(times)]
    inside = False
    marks = []
    for count in within:
        inside = count >= 10 or (inside and count >= 5)
        marks.append(inside)
    starts = sum(now and not before for before, now in zip([False, *marks], marks, strict=False))
    assert len(floods(times, operators=1)) == starts


def test_the_share_of_time_in_flood() -> None:
    found = measured([*map(float, range(10)), 12.0], days=1)
    assert found.time_in_flood == pytest.approx(12 / (24 * 60))
    assert stands(found)["Most in 10 minutes"] == "inside"
    assert stands(measured([0.1 * n for n in range(11)], days=1))["Most in 10 minutes"] == "outside"


def test_the_ten_most_frequent_and_their_share() -> None:
    calls = [
        Call(alarm_id=n, at=at(n), about=f"P{n % 12 if n < 48 else 0}: cushion") for n in range(60)
    ]
    found = measure(calls, [], since=T0, until=at(60), operators=1, shelved=0, out_of_service=0)
    assert (found.top[0].about, found.top[0].calls) == ("P0: cushion", 16)
    assert len(found.top) == 10
    assert found.top_share == pytest.approx((16 + 9 * 4) / 60)
    assert stands(found)["Share of the ten most frequent"] == "outside"
    few = measured([1.0, 2.0])
    assert stands(few)["Share of the ten most frequent"] == "not judged"
    told = {each.measure: each.standard for each in figures(few)}
    assert told["Share of the ten most frequent"] == "at most 5 %; judged from 50 alarms on"


@pytest.mark.parametrize(
    ("minutes", "cycle_s", "chatters"),
    [
        ([0, 10, 20], 60.0, True),  # three times within twenty cycles
        ([0, 10, 21], 60.0, False),
        ([0, 10, 21], 70.0, True),
        ([0, 10], 60.0, False),
        ([0, 500, 505, 510], 60.0, True),
    ],
)
def test_an_alarm_that_comes_three_times_in_twenty_cycles_chatters(
    minutes: list[float], cycle_s: float, chatters: bool
) -> None:
    found = measured(minutes, lives=(life(1, cycle_s=cycle_s),))
    assert found.chattering == (("P1: cushion",) if chatters else ())
    assert stands(found)["Chattering"] == ("outside" if chatters else "inside")


def test_an_alarm_is_stale_after_a_day() -> None:
    now = T0 + timedelta(hours=25)
    assert is_stale(life(active_since=T0), now)
    assert not is_stale(life(active_since=T0 + 2 * HOUR), now)
    assert not is_stale(life(), now)
    old = tuple(life(n, active_since=T0) for n in range(5))
    assert stands(measured([], lives=old))["Active for more than a day"] == "outside"
    assert stands(measured([], lives=old[:4]))["Active for more than a day"] == "inside"


def test_waits_go_from_each_call_to_its_acknowledgement() -> None:
    steps = [
        ("occur", at(0)), ("grow", at(1)), ("acknowledge", at(3)), ("clear", at(9)), ("reoccur", at(20)),
        ("clear", at(30)), ("acknowledge", at(40)), ("close", at(41)),
    ]  # fmt: skip
    assert waits(steps) == (180.0, 1200.0)
    shelved = [("occur", at(0)), ("shelve", at(1)), ("unshelve", at(60)), ("acknowledge", at(61))]
    assert waits(shelved) == (60.0,)


def test_the_middle_is_by_nearest_rank() -> None:
    assert middle([1, 2, 3, 4, 100], 0.5) == 3
    assert middle([1, 2, 3, 4, 100], 0.9) == 100
    assert middle([], 0.5) is None


def test_causes_and_dome_are_shares_of_those_that_can_tell() -> None:
    lives = (
        life(1), life(2, cause="unknown after checks", dome="outside"), life(3, closed=False, cause=None),
        life(4, dome="inside"), life(5, dome="outside"), life(6, calls_now=True, closed=False, cause=None),
    )  # fmt: skip
    found = measured([1.0], lives=lives, shelved=2)
    assert (found.closed, found.with_cause, found.gauged, found.confirmed) == (4, 3, 3, 2)
    assert (found.waiting, found.shelved) == (1, 2)
    said = {each.measure: each.value for each in figures(found)}
    assert said["Closed with a known cause"] == "3 of 4 (75 %)"
    assert said["Confirmed by dome"] == "2 of 3 (67 %)"


def test_a_floor_without_alarms_is_measured_too() -> None:
    found = measured([], days=0.0)
    assert (found.calls, found.an_hour, found.time_in_flood, found.top) == (0, 0.0, 0.0, ())
    assert set(stands(found).values()) <= {"inside", "not judged"}


def test_too_short_a_time_is_said_so() -> None:
    assert period_words(measured([], days=30)) == "The last 30 days."
    assert period_words(measured([], days=7)).startswith("Only 7.0 days are there; the standard asks for 30")
