"""Messages in the order of their sequence numbers, by the rules of the standard's chapter 5."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.sources.sparkplug.order import Order


def born(at: int = 0) -> Order[int]:
    order: Order[int] = Order(2.0)
    order.begin(at, now_s=0.0)
    return order


def test_the_example_of_the_standard() -> None:
    # 5.5: 1, 2 and 4 come; a timer starts; 3 comes in time, the timer ends, and 4 follows.
    order = born()
    assert order.take(1, 1, now_s=0.0) == [1]
    assert order.take(2, 2, now_s=0.0) == [2]
    assert order.take(4, 4, now_s=0.1) == []
    assert not order.is_overdue(2.0)
    assert order.take(3, 3, now_s=2.0) == [3, 4]
    assert not order.is_overdue(100.0)


def test_what_does_not_come_in_time_is_given_up() -> None:
    order = born()
    order.take(2, 2, now_s=0.0)
    order.take(5, 5, now_s=1.0)

    assert order.is_overdue(2.0)
    assert order.give_up() == [2, 5]
    assert order.take(6, 6, now_s=3.0) == [6]


def test_after_255_comes_0() -> None:
    order = born(254)

    assert [order.take(seq, seq, now_s=0.0) for seq in (255, 0, 1)] == [[255], [0], [1]]


def test_what_is_handed_over_twice_is_taken_once() -> None:
    order = born()

    assert [order.take(seq, seq, now_s=0.0) for seq in (1, 1, 2, 1)] == [[1], [], [2], []]


def test_a_loss_of_more_than_half_the_numbers_is_no_repetition() -> None:
    order = born()
    order.take(1, 1, now_s=0.0)

    assert [order.take(seq, seq, now_s=1.0) for seq in (140, 141)] == [[], []]

    assert order.is_overdue(3.0)
    assert order.give_up() == [140, 141]


def test_what_came_before_its_birth_follows_it() -> None:
    order: Order[int] = Order(2.0)
    assert order.take(2, 2, now_s=0.0) == []
    assert order.take(1, 1, now_s=0.0) == []

    assert order.begin(0, now_s=0.1) == [1, 2]


@given(st.permutations(range(1, 40)), st.integers(0, 255))
def test_any_order_of_arrival_within_the_timeout_gives_the_order_of_sending(
    arrivals: list[int], start: int
) -> None:
    order, out = born(start), []
    for number in arrivals:
        out += order.take((start + number) % 256, number, now_s=0.0)

    assert out == list(range(1, 40))
