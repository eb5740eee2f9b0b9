"""Which shot a message is. The cases are those of real presses: common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import press_identity
from collector.identity import Identity, Kind, Last, Stored, identify
from tests.collector.shots_in import shot

NOON = datetime(2026, 11, 24, 12, tzinfo=UTC)
POLL = timedelta(seconds=54)
LAST = Last(epoch=2, counter=100, ended_at=NOON)


def identity(
    counter: int | None, seconds: float, *, last: Last | None = LAST, stored: Stored | None = None
) -> Identity:
    return identify(counter, NOON + timedelta(seconds=seconds), last=last, stored=stored, poll=POLL)


def test_the_first_shot_of_a_press_opens_its_first_epoch() -> None:
    assert identity(7, 0, last=None) == Identity(Kind.NEW, epoch=0)


def test_the_next_counter_is_the_next_shot() -> None:
    assert identity(101, 60) == Identity(Kind.NEW, epoch=2)


def test_skipped_counters_are_counted() -> None:
    assert identity(104, 240) == Identity(Kind.NEW, epoch=2, missing=3)


def test_the_same_shot_reported_by_a_second_poll_is_known() -> None:
    stored = Stored(shot_id=55, epoch=2, ended_at=NOON)

    assert identity(100, 10, stored=stored) == Identity(Kind.KNOWN, epoch=2, shot_id=55)


def test_a_counter_that_repeats_much_later_opens_an_epoch() -> None:
    stored = Stored(shot_id=55, epoch=2, ended_at=NOON)

    assert identity(100, 3600, stored=stored) == Identity(Kind.NEW_EPOCH, epoch=3)


def test_a_counter_that_falls_opens_an_epoch() -> None:
    assert identity(1, 60) == Identity(Kind.NEW_EPOCH, epoch=3)


def test_a_lower_counter_from_before_is_late() -> None:
    assert identity(97, -180) == Identity(Kind.LATE, epoch=2)


def test_a_higher_counter_from_long_before_belongs_to_the_epoch_before() -> None:
    assert identity(4000, -7200) == Identity(Kind.LATE, epoch=1)


def test_a_press_whose_clock_steps_back_keeps_its_epoch() -> None:
    first_epoch = Last(epoch=0, counter=100, ended_at=NOON)

    assert identity(101, -3600, last=first_epoch) == Identity(Kind.NEW, epoch=0)


@pytest.mark.parametrize(("seconds", "kind"), [(60, Kind.NEW), (-60, Kind.LATE)])
def test_without_a_counter_time_decides(seconds: float, kind: Kind) -> None:
    last = Last(epoch=0, counter=None, ended_at=NOON)

    assert identity(None, seconds, last=last) == Identity(kind, epoch=0)


def test_a_straggler_whose_counter_this_epoch_has_too_belongs_to_the_epoch_before() -> None:
    found = identify(50, NOON - timedelta(hours=2), last=LAST, stored=None, poll=POLL, taken={2})

    assert found == Identity(Kind.LATE, epoch=1)


def test_a_clock_that_steps_back_after_a_counter_restart_leaves_the_next_shot_in_its_epoch() -> None:
    found = identify(101, NOON - timedelta(hours=1), last=LAST, stored=None, poll=POLL, taken={0, 1})

    assert found == Identity(Kind.NEW, epoch=2)


def test_a_counter_and_a_clock_that_both_fall_open_an_epoch_where_the_place_is_taken() -> None:
    first_epoch = Last(epoch=0, counter=5000, ended_at=NOON)

    found = identify(1, NOON - timedelta(minutes=5), last=first_epoch, stored=None, poll=POLL, taken={0})

    assert found == Identity(Kind.NEW_EPOCH, epoch=1)


LASTS = st.builds(Last, st.integers(0, 3), st.integers(0, 300) | st.none(), st.just(NOON))


@given(st.integers(0, 300), st.integers(-7200, 7200), st.none() | LASTS)
def test_what_is_plainly_the_next_shot_is_nothing_else_at_a_second_look(
    counter: int, seconds: int, last: Last | None
) -> None:
    told = shot(0, counter=counter, ended_at=NOON + timedelta(seconds=seconds))

    if press_identity.is_newest(told, last):
        assert press_identity.next_one(told, last) == identity(counter, seconds, last=last)
