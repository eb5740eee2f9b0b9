"""What quiet shots prove: that the process came back, or only that the charts forgot. Invented values."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from collector.actions import alarms as act
from collector.alarms.comeback import CERTAIN_AFTER_SHOTS, nearer_after
from collector.alarms.lifecycle import CLEAR_AFTER_SHOTS, REALARM_AFTER
from collector.alarms.model import Moved
from collector.store import database, tables
from tests.collector.alarms.floor import START, Floor


def moved(before: float | None, after: float | None) -> Moved:
    return Moved(
        key="cushion", direction=-1, before=before, after=after, unit="mm", share=1.2, shots=9, single=False
    )


@pytest.mark.parametrize(
    ("before", "after", "values", "still_out"),
    [
        (6.0, 5.0, [5.1, 5.2, 5.3], True),
        (6.0, 5.0, [5.9, 5.6], False),
        (6.0, 5.0, [5.5], False),  # in the middle it is not said to be out
        (6.0, 5.0, [], False),
        (None, 5.0, [5.0], False),
    ],
)
def test_values_lie_nearer_to_one_of_two_levels(
    before: float | None, after: float | None, values: list[float], still_out: bool
) -> None:
    assert nearer_after(moved(before, after), values) is still_out


@pytest.fixture
def drifted(engine: sa.Engine) -> Floor:
    """A mold core that runs 0.6 degC (3 sigma) warmer: one active alarm."""
    floor = Floor(engine)
    floor.make(floor.steady(120))
    floor.make(floor.steady(20, 2, mold_core_temperature=0.6), batch=1)
    return floor


def forget(floor: Floor) -> None:
    """The charts begin anew with the next shot, as when another alarm of the press is closed."""
    floor.restart_charts()
    floor.charts_since_shot_id = floor.rows("shots")[-1]["id"] + 1


def clears(floor: Floor) -> list[dict[str, object]]:
    return [step for step in floor.rows("alarm_steps") if step["event"] == "clear"]


def test_without_a_restart_five_quiet_shots_are_enough(drifted: Floor) -> None:
    drifted.make(drifted.steady(60, 3), batch=1)
    (cleared,) = clears(drifted)
    assert cleared["note"] == (
        "the hold ends with the last disc that signaled, shot 1,140: "
        "28 discs on hold, 5 discs made since are not"
    )


def test_charts_that_forgot_do_not_say_that_a_process_came_back(drifted: Floor) -> None:
    """Weak enough a shift that fresh charts need a while; the values still say that it is out."""
    forget(drifted)
    drifted.quiet_charts = True
    drifted.make(drifted.steady(CLEAR_AFTER_SHOTS + 4, 3, mold_core_temperature=0.6), batch=1)
    assert drifted.alarm().state == "active_unacknowledged"
    assert clears(drifted) == []
    drifted.quiet_charts = False
    drifted.make(drifted.steady(12, 4, mold_core_temperature=0.6), batch=1)
    assert drifted.alarm().state == "active_unacknowledged"
    assert [step["event"] for step in drifted.rows("alarm_steps")] == ["occur"]


def test_a_process_that_came_back_is_said_to_be_back_by_its_values(drifted: Floor) -> None:
    forget(drifted)
    drifted.make(drifted.steady(CLEAR_AFTER_SHOTS, 3), batch=1)
    (cleared,) = clears(drifted)
    assert cleared["note"] == (
        "the charts began anew since its last signal, and the values are back; "
        "the hold ends with the last disc that signaled, shot 1,139: "
        "27 discs on hold, 5 discs made since are not"
    )


def test_in_the_end_the_charts_decide_but_it_is_said_that_the_values_stayed(drifted: Floor) -> None:
    forget(drifted)
    drifted.quiet_charts = True
    drifted.make(drifted.steady(CERTAIN_AFTER_SHOTS - 1, 3, mold_core_temperature=0.6), batch=1)
    assert clears(drifted) == []
    drifted.make(drifted.steady(1, 4, mold_core_temperature=0.6))
    (cleared,) = clears(drifted)
    assert cleared["note"] == (
        f"no signal in {CERTAIN_AFTER_SHOTS} shots since the charts began anew, "
        "though the values stay where they went; the hold ends with the last disc that signaled, shot 1,139: "
        "27 discs on hold, 20 discs made since are not"
    )


def test_closing_one_alarm_says_at_the_others_that_their_charts_begin_anew(drifted: Floor) -> None:
    values = drifted.steady(2, 3, mold_core_temperature=0.6)
    ids = drifted.make(values)
    drifted.off_recipe(ids[-1], "cooling_time", 30.0)
    drift, recipe = drifted.alarms()
    act.acknowledge(drifted.engine, recipe.id, who="operator 1", clock=drifted.clock)
    act.close(drifted.engine, recipe.id, who="technician 1", clock=drifted.clock, cause="timer")
    step = [each for each in drifted.rows("alarm_steps") if each["alarm_id"] == drift.id][-1]
    assert (step["event"], step["before"], step["after"]) == ("restart", drift.state, drift.state)
    assert step["note"] == f"alarm {recipe.id} was closed; whether this one is over, the values decide"


def test_an_alarm_that_a_shift_left_behind_calls_again(drifted: Floor) -> None:
    """Re-alarm by rule: the standard's diagram permits it (from memory)."""
    number = drifted.alarm().id
    act.acknowledge(drifted.engine, number, who="operator 1", clock=drifted.clock)
    shots_a_shift = REALARM_AFTER // (drifted.clock.now() - START) * drifted.made
    drifted.make(drifted.steady(shots_a_shift // 2, 3, mold_core_temperature=0.6), batch=60)
    assert drifted.alarm().state == "active_acknowledged"
    drifted.make(drifted.steady(shots_a_shift, 4, mold_core_temperature=0.6), batch=60)
    assert (drifted.alarm().state, drifted.alarm().acknowledged_by) == ("active_unacknowledged", None)
    assert [step["event"] for step in drifted.rows("alarm_steps")].count("realarm") == 1


def test_what_begins_while_the_press_starts_up_calls_nobody_until_it_runs(engine: sa.Engine) -> None:
    """Suppressed by design: a setpoint off its recipe that is seen at a startup shot."""
    floor = Floor(engine)
    ids = floor.make(floor.steady(3), phase="startup")
    floor.off_recipe(ids[-1], "cooling_time", 30.0, phase="startup")
    assert (floor.alarm().state, floor.alarm().beneath) == ("suppressed_by_design", "active_unacknowledged")
    assert floor.rows("outbox") == []
    (charted,) = floor.make(floor.steady(1, 2))
    floor.off_recipe(charted, "cooling_time", 30.0)
    assert floor.alarm().state == "active_unacknowledged"
    assert [step["event"] for step in floor.rows("alarm_steps")] == ["occur", "suppress", "unsuppress"]
    assert floor.rows("outbox")


def test_what_came_and_went_in_startup_calls_nobody(engine: sa.Engine) -> None:
    floor = Floor(engine)
    ids = floor.make(floor.steady(3), phase="startup")
    floor.off_recipe(ids[-1], "cooling_time", 30.0, phase="startup")
    floor.make(floor.steady(CLEAR_AFTER_SHOTS, 2), phase="startup")
    floor.make(floor.steady(1, 3))
    assert floor.alarm().state == "latched_acknowledged"  # its discs wait for somebody all the same
    with database.read(engine) as conn:
        assert conn.execute(sa.select(tables.outbox.c.payload).where(tables.outbox.c.retain)).scalars().all()
