"""Order of arrival. What is right is the order in which the press made the shots."""

from __future__ import annotations

from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import in_order
from collector.contract.messages import TrayMessage
from tests.collector.shots_in import START, shot

TRAY = TrayMessage(
    site="lowland", press="P1", at=START, tray="41", position=None, received_at=START, source="mqtt"
)


@given(st.permutations([shot(number) for number in range(8)]))
def test_shots_that_were_only_shuffled_are_put_in_order(shuffled: list[object]) -> None:
    assert list(in_order(shuffled)) == [shot(number) for number in range(8)]  # type: ignore[arg-type]


@given(st.permutations([shot(number, counter=None) for number in range(5)]))
def test_without_a_counter_time_is_the_order(shuffled: list[object]) -> None:
    assert list(in_order(shuffled)) == [shot(n, counter=None) for n in range(5)]  # type: ignore[arg-type]


def test_nothing_moves_across_another_message() -> None:
    batch = [shot(3), shot(2), TRAY, shot(1), shot(0)]

    assert list(in_order(batch)) == [shot(2), shot(3), TRAY, shot(0), shot(1)]


def test_a_clock_that_was_set_back_and_a_counter_that_came_twice_are_left_as_they_came() -> None:
    set_back = [shot(0), shot(1), shot(2, ended_at=START - timedelta(hours=1))]
    twice = [shot(5), shot(4), shot(5)]

    assert list(in_order(set_back)) == set_back
    assert list(in_order(twice)) == twice
