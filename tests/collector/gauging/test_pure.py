"""Age, identity, tray fillings, typed readings and proposals: the parts that touch no store."""

from datetime import timedelta

import pytest

from collector.errors import UserError
from collector.gauging import age, filling, identity, proposal, reading
from collector.gauging.model import Disc
from tests.collector.gauging.floor import START, at, dome


def disc(shot_id=1, minute=0.0, tray="41", position=1, run_id=1, **more):
    facts = {
        "press_id": 1, "run_id": run_id, "counter": shot_id, "time_reconstructed": False, "tray": tray,
        "tray_position": position,
    }  # fmt: skip
    return Disc(shot_id=shot_id, ended_at=at(minute), **(facts | more))


def test_age_is_counted_from_the_end_of_the_shot():
    assert age.age_h(at(90), disc(minute=0)) == 1.5


@pytest.mark.parametrize(
    ("gauged_at", "made"),
    [(None, disc()), (at(5), None), (at(5), disc(time_reconstructed=True)), (at(0), disc(minute=60))],
    ids=["gauging without a time", "no disc", "shot's time computed", "gauged before it was made"],
)
def test_age_is_unknown_rather_than_wrong(gauged_at, made):
    assert age.age_h(gauged_at, made) is None


def test_clocks_that_differ_by_a_minute_give_age_zero():
    assert age.age_h(at(59), disc(minute=60)) == 0.0


@pytest.mark.parametrize(
    ("characteristic", "hours", "expected"),
    [
        ("dome", 23.99, "provisional"), ("dome", 24.0, "final"), ("dome", None, "unknown"),
        ("diameter", 3.0, "provisional"), ("weight", 0.0, "final"), ("weight", None, "final"),
    ],
)  # fmt: skip
def test_standing_follows_the_set_time_of_the_characteristic(characteristic, hours, expected):
    assert age.standing(characteristic, hours) == expected


def test_a_dome_gauged_after_three_days_is_outside_the_usual_window():
    assert [age.is_after_window("dome", h) for h in (71.9, 72.0, 72.1, None)] == [False, False, True, False]
    assert not age.is_after_window("weight", 500.0)


def test_identity_ignores_who_gauged_and_changes_with_everything_that_makes_another_reading():
    same = identity.digest(dome(counter=5, press="P1"))
    assert identity.digest(dome(counter=5, press="P1", who="operator 2", definition="x")) == same
    others = [
        dome(2.32, counter=5, press="P1"), dome(counter=6, press="P1"), dome(counter=5, press="P2"),
        dome(counter=5, press="P1", gauge="g2"), dome(counter=5, press="P1", gauged_at=START),
        dome(counter=5, press="P1", characteristic="weight"), dome(tray="5", position=1),
        dome(order_batch="f", order_index=5),
    ]  # fmt: skip
    digests = {identity.digest(other) for other in others}
    assert len(digests) == len(others)
    assert same not in digests


def test_a_tray_filled_twice_gives_the_discs_of_the_second_time():
    first = [disc(i, i, position=i) for i in range(1, 5)]
    second = [disc(i + 10, i + 100, position=i) for i in range(1, 3)]
    assert filling.latest_filling([*second, *first]) == second


def test_a_tray_that_the_next_run_fills_up_holds_the_discs_of_both():
    first = [disc(i, i, position=i, run_id=1) for i in range(1, 3)]
    second = [disc(i, i, position=i, run_id=2) for i in range(3, 5)]
    assert filling.latest_filling(first + second) == first + second


def test_without_positions_a_new_run_begins_with_an_empty_tray():
    first = [disc(i, i, position=None, run_id=1) for i in range(1, 3)]
    second = [disc(i, i, position=None, run_id=2) for i in range(3, 5)]
    assert filling.latest_filling(first + second) == second


@pytest.mark.parametrize(
    ("typed", "value"),
    [("2.31", 2.31), ("2,31", 2.31), (" +2.31 ", 2.31), ("-0,4", -0.4), ("\u22120.4", -0.4), (".5", 0.5),
     ("2", 2.0), ("2.31 mm", 2.31), ("2,31mm", 2.31), ("0.1 in", 2.54)],
)  # fmt: skip
def test_readings_are_read_with_point_comma_sign_and_unit(typed, value):
    assert reading.parse(typed, "dome")[:2] == (pytest.approx(value), "mm")


def test_a_reading_in_another_unit_keeps_what_was_typed():
    assert reading.parse("0.1 in", "dome")[2:] == (0.1, "in")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "No value was typed"), ("abc", "is not one number"), ("2.3.1", "is not one number"),
        ("1.234,5", "is not one number"), ("2 31", "is not one number"), ("2.31 2.32", "is not one number"),
        ("nan", "is not one number"), ("inf", "is not one number"), ("2.31-", "is not one number"),
        ("1e5", "is no unit"), ("2.31 g", "is no unit"), ("231", "cannot be a dome"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_one_sentence(typed, words):
    with pytest.raises(UserError) as refused:
        reading.parse(typed, "dome")
    assert words in str(refused.value)
    assert str(refused.value).endswith(".")


def test_a_hold_proposes_its_edges_from_both_sides_and_discs_in_between():
    inside = [disc(i, i) for i in range(10, 80)]
    chosen = proposal.of_hold(inside, disc(9, 9), disc(80, 80))
    assert [d.shot_id for d, why in chosen if why is proposal.Why.EDGE] == [9, 10, 79, 80]
    spread = [d.shot_id for d, why in chosen if why is proposal.Why.HOLD]
    assert spread == [20, 30, 40, 50, 60, 70]


def test_a_hold_of_one_disc_proposes_it_once():
    assert [d.shot_id for d, _ in proposal.of_hold([disc(10)], None, None)] == [10]


def test_a_tray_filling_with_a_gauged_disc_needs_no_control():
    starts = [disc(1), disc(5, tray="42"), disc(9), disc(13, tray="42")]
    left = proposal.controls(starts, [disc(3, position=3), disc(15, tray="42", position=3)])
    assert [d.shot_id for d in left] == [5, 9]


def test_ripe_discs_come_first_and_edges_before_controls():
    now = at(0)
    make = lambda i, why, hours: proposal.Proposal(disc(i), why, now + timedelta(hours=hours))  # noqa: E731
    todo = [make(1, proposal.Why.CONTROL, -5), make(2, proposal.Why.EDGE, 1), make(3, proposal.Why.EDGE, -1)]
    assert [p.disc.shot_id for p in proposal.ordered(todo, now)] == [3, 1, 2]
