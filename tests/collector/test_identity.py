"""Which shot a message is. The cases are those of real presses: common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from collector.identity import Identity, Kind, Last, Stored, identify

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
