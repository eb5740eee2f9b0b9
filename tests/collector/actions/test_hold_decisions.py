"""What becomes of discs on hold, and thinking again about it."""

from __future__ import annotations

from typing import Any

import pytest

from collector.actions import alarms as act
from collector.actions import holds as act_hold
from collector.errors import NotAllowed
from collector.store import database
from collector.store import holds as hold_store
from tests.collector.alarms.floor import Floor


@pytest.fixture
def floor(floor: Floor) -> Floor:
    """The cushion came back after eight shots: one latched alarm, its hold ended."""
    floor.restart_charts()
    floor.make(floor.steady(10, 3))
    return floor


def by(floor: Floor, **more: Any) -> dict[str, Any]:
    return {"who": "quality 1", "clock": floor.clock, "reason": "gauged all of them"} | more


def held(floor: Floor) -> dict[str, Any]:
    return floor.rows("holds")[-1]


def discs(floor: Floor, hold: dict[str, Any]) -> int:
    with database.read(floor.engine) as conn:
        return hold_store.extent(
            conn, press_id=hold["press_id"], from_shot_id=hold["from_shot_id"], to_shot_id=hold["to_shot_id"]
        ).discs


def test_sorting_counts_good_and_bad_discs_and_ends_the_latch(floor: Floor) -> None:
    assert floor.alarm().state == "latched_unacknowledged"
    made = discs(floor, held(floor))
    act_hold.sort(floor.engine, held(floor)["id"], good_discs=made - 3, bad_discs=2, **by(floor))
    assert (held(floor)["state"], held(floor)["good_discs"], held(floor)["bad_discs"]) == (
        "sorted", made - 3, 2,
    )  # fmt: skip
    assert floor.alarm().state == "returned_unacknowledged"
    reset = floor.rows("alarm_steps")[-1]
    assert (reset["event"], reset["before"], reset["after"], reset["who"]) == (
        "reset", "latched_unacknowledged", "returned_unacknowledged", "quality 1",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("good", "bad", "words"), [(99, 1, "100 discs are counted, but only"), (-1, 2, "below zero")]
)
def test_more_discs_than_were_made_are_counted_again(floor: Floor, good: int, bad: int, words: str) -> None:
    with pytest.raises(NotAllowed, match=words):
        act_hold.sort(floor.engine, held(floor)["id"], good_discs=good, bad_discs=bad, **by(floor))
    assert held(floor)["state"] == "open"
    assert len(floor.rows("hold_steps")) == 1


def test_releasing_and_scrapping_count_the_discs_that_were_made(floor: Floor) -> None:
    made = discs(floor, held(floor))
    act_hold.release(floor.engine, held(floor)["id"], **by(floor))
    assert (held(floor)["good_discs"], held(floor)["bad_discs"]) == (made, 0)
    act_hold.reopen(floor.engine, held(floor)["id"], **by(floor))
    act_hold.scrap(floor.engine, held(floor)["id"], **by(floor))
    assert (held(floor)["good_discs"], held(floor)["bad_discs"]) == (0, made)


def test_scrapping_may_say_how_many_were_found(floor: Floor) -> None:
    act_hold.scrap(floor.engine, held(floor)["id"], **by(floor, discs=4))
    assert (held(floor)["good_discs"], held(floor)["bad_discs"]) == (0, 4)


def test_a_decided_hold_is_opened_again_with_a_reason_and_its_alarm_latches(floor: Floor) -> None:
    number = floor.alarm().id
    act.acknowledge(floor.engine, number, who="operator 1", clock=floor.clock)
    act.close(floor.engine, number, who="technician 1", clock=floor.clock, cause="check ring")
    hold_id = held(floor)["id"]
    last = held(floor)["to_shot_id"]
    act_hold.release(floor.engine, hold_id, **by(floor))
    assert floor.rows("alarms")[0]["state"] == "normal"
    act_hold.reopen(floor.engine, hold_id, **by(floor, reason="buyer found a flat one"))
    assert (held(floor)["state"], held(floor)["closed_by"], held(floor)["to_shot_id"]) == ("open", None, last)
    assert (floor.rows("alarms")[0]["state"], floor.alarms()) == ("latched_acknowledged", [])
    with database.read(floor.engine) as conn:
        steps = [(step.event, step.who, step.reason) for step in hold_store.steps(conn, hold_id)]
    assert steps[1:] == [
        ("released", "quality 1", "gauged all of them"),
        ("reopened", "quality 1", "buyer found a flat one"),
    ]
    journal = floor.rows("journal")[-1]
    assert (journal["action"], journal["why"]) == ("hold reopened", "buyer found a flat one")
    assert journal["before"]["state"] == "released"


def test_an_open_hold_is_not_opened_again_and_a_reason_is_needed(floor: Floor) -> None:
    with pytest.raises(NotAllowed, match="is open: nothing was decided yet"):
        act_hold.reopen(floor.engine, held(floor)["id"], **by(floor))
    act_hold.release(floor.engine, held(floor)["id"], **by(floor))
    with pytest.raises(NotAllowed, match="give the reason"):
        act_hold.reopen(floor.engine, held(floor)["id"], **by(floor, reason=" "))


def test_a_hold_that_was_opened_again_does_not_grow_when_another_one_does(floor: Floor) -> None:
    first = held(floor)
    act_hold.release(floor.engine, first["id"], **by(floor))
    floor.make(floor.steady(8, 5, cushion=-0.9), batch=1)
    act_hold.reopen(floor.engine, first["id"], **by(floor))
    floor.make(floor.steady(8, 6, cushion=-0.9), batch=1)
    again, growing = floor.rows("holds")
    assert (again["state"], again["from_shot_id"], again["to_shot_id"]) == (
        "open", first["from_shot_id"], first["to_shot_id"],
    )  # fmt: skip
    assert (growing["state"], growing["to_shot_id"]) == ("open", None)


def test_the_latch_ends_with_the_last_of_several_holds(floor: Floor) -> None:
    first = held(floor)
    act_hold.release(floor.engine, first["id"], **by(floor))
    floor.make(floor.steady(8, 5, cushion=-0.9), batch=1)
    act_hold.reopen(floor.engine, first["id"], **by(floor))
    floor.restart_charts()
    floor.make(floor.steady(10, 7))
    assert floor.alarm().state == "latched_unacknowledged"
    act_hold.release(floor.engine, first["id"], **by(floor))
    assert floor.alarm().state == "latched_unacknowledged"
    act_hold.release(floor.engine, held(floor)["id"], **by(floor))
    assert floor.alarm().state == "returned_unacknowledged"


def test_a_tray_is_found_as_it_was_filled_last(floor: Floor) -> None:
    with database.read(floor.engine) as conn:
        found = hold_store.tray_stretch(conn, floor.press.id, "43")
        assert found == (41, 60)
        assert hold_store.tray_stretch(conn, floor.press.id, "999") is None
