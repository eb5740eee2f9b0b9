"""What people get wrong: how often, what it looks like, and that it touches nothing else."""

from collections import Counter
from datetime import UTC, datetime
from itertools import islice

import pytest

from simulator.gauging import gaugings
from simulator.mistakes import Mistakes, with_mistakes
from simulator.publisher import to_message
from simulator.records import SimGauging, SimShot
from simulator.scenarios import plain

START = datetime(2026, 11, 16, tzinfo=UTC)
NONE = {"typed": 0.0, "next_disc": 0.0, "forgotten": 0.0, "twice": 0.0, "swapped_trays": 0.0}


@pytest.fixture(scope="module")
def shots() -> list[SimShot]:
    return [r for r in plain(2, START, presses=2, shots=240) if isinstance(r, SimShot)]


@pytest.fixture(scope="module")
def readings(shots: list[SimShot]) -> list[SimGauging]:
    return list(gaugings(shots, 2, every=1))


def test_people_who_make_no_mistake_change_nothing(readings: list[SimGauging]) -> None:
    assert list(with_mistakes(readings, 2, Mistakes(**NONE))) == readings


def test_the_same_seed_makes_the_same_mistakes(readings: list[SimGauging]) -> None:
    assert list(with_mistakes(readings, 5)) == list(with_mistakes(readings, 5))
    assert list(with_mistakes(readings, 5)) != list(with_mistakes(readings, 6))


@pytest.mark.parametrize("chance", [0.0, 0.1, 1.0])
def test_mistyped_readings_come_as_often_as_asked_and_read_otherwise(
    readings: list[SimGauging], chance: float
) -> None:
    entered = list(with_mistakes(readings, 3, Mistakes(**{**NONE, "typed": chance})))
    wrong = [(was, now) for was, now in zip(readings, entered, strict=True) if now.mistake is not None]
    assert len(wrong) / len(readings) == pytest.approx(chance, abs=0.03)
    assert all(was.value != now.value for was, now in wrong)
    assert all(was == now for was, now in zip(readings, entered, strict=True) if now.mistake is None)
    if chance:
        assert len({now.mistake for _, now in wrong}) == 5


def test_swapped_trays_exchange_all_discs_of_two_trays(readings: list[SimGauging]) -> None:
    entered = list(with_mistakes(readings, 3, Mistakes(**{**NONE, "swapped_trays": 1.0})))
    for was, now in zip(readings, entered, strict=True):
        one, other = (int(reading.tray.rpartition("-")[2]) for reading in (was, now))
        assert {one, other} == {one & ~1, one | 1}
        assert now.tray_position == was.tray_position
        assert was.counter is None or now.counter == was.counter + 24 * (other - one)


def test_a_disc_forgotten_has_no_reading_and_one_entered_twice_has_two(readings: list[SimGauging]) -> None:
    forgotten = list(with_mistakes(readings, 3, Mistakes(**{**NONE, "forgotten": 0.3})))
    discs = Counter((r.press, r.tray, r.tray_position) for r in forgotten)
    assert set(discs.values()) == {3}
    assert len(discs) / (len(readings) / 3) == pytest.approx(0.7, abs=0.07)
    twice = list(with_mistakes(readings, 3, Mistakes(**{**NONE, "twice": 1.0})))
    assert len(twice) == 2 * len(readings)


def test_readings_of_the_next_disc_move_by_one(readings: list[SimGauging]) -> None:
    entered = list(with_mistakes(readings, 3, Mistakes(**{**NONE, "next_disc": 1.0})))
    moved = [(was, now) for was, now in zip(readings, entered, strict=True) if now.mistake]
    assert all(now.tray_position == was.tray_position + 1 for was, now in moved)
    assert len(moved) == sum(reading.tray_position < 24 for reading in readings)


def test_no_message_tells_of_a_mistake(readings: list[SimGauging]) -> None:
    entered = with_mistakes(readings, 3, Mistakes(**{**NONE, "typed": 1.0}))
    assert all(b"mistake" not in to_message(reading).payload for reading in islice(entered, 50))


def test_a_chance_above_one_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"^the chance typed of a mistake is 1\.2; give 0 to 1$"):
        Mistakes(typed=1.2)
