"""From signals to alarms, holds, steps and messages, on invented values with known truth."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from collector.actions import alarms as act
from collector.actions import holds as act_hold
from collector.alarms.extent_words import tray_words
from collector.alarms.notifying import tell_people
from collector.settings import Settings
from collector.settings_delivery import MessageChannel
from collector.store import database, outbox, tables
from collector.store.holds import extent
from tests.collector.alarms.floor import Floor


def retained(floor: Floor) -> dict[str, Any]:
    """The newest message for the stack light."""
    return json.loads([row for row in floor.rows("outbox") if row["channel"] == "mqtt"][-1]["payload"])


def drift(count: int) -> np.ndarray[Any, Any]:
    return 3.1 * (1 - np.exp(-np.arange(1, count + 1) / 10))


def test_a_steady_press_has_no_alarm_and_sends_nothing(floor: Floor) -> None:
    floor.make(floor.steady(300))
    assert floor.alarms() == []
    assert floor.rows("outbox") == []


def test_a_drift_is_one_alarm_that_says_what_since_when_and_what_to_hold(floor: Floor) -> None:
    before = floor.make(floor.steady(120))
    after = floor.make(floor.steady(40, 2, mold_core_temperature=drift(40)), batch=1)
    alarm = floor.alarm()
    assert alarm.state == "active_unacknowledged"
    assert alarm.headline.startswith("Mold core")
    assert "warmer" in alarm.headline
    assert alarm.change_low_shot_id is not None
    assert alarm.change_shot_id is not None
    assert alarm.change_high_shot_id is not None
    assert alarm.change_low_shot_id <= alarm.change_shot_id <= alarm.change_high_shot_id
    assert abs(alarm.change_shot_id - after[0]) <= 4
    (hold,) = floor.rows("holds")
    assert before[100] < hold["from_shot_id"] <= alarm.change_low_shot_id
    assert hold["to_shot_id"] is None
    assert alarm.causes
    assert alarm.causes[0]["cause"].startswith("Coolant line blocked")


def test_the_message_names_the_alarm_and_the_trays(floor: Floor) -> None:
    floor.make(floor.steady(130))
    floor.make(floor.steady(45, 2, mold_core_temperature=drift(45)), batch=1)
    message = retained(floor)
    assert message["active"] is True
    assert message["state"] == "active_unacknowledged"
    assert message["characteristics"] == ["mold_core_temperature"]
    assert message["hold"] == ["47", "48", "49"]
    assert message["since_counter"] == pytest.approx(1_130, abs=4)
    assert "Mold core" in message["sentence"]
    assert "hold trays 47 to 49" in message["sentence"]


def test_every_signal_knows_its_alarm(floor: Floor) -> None:
    floor.make(floor.steady(120))
    floor.make(floor.steady(40, 2, mold_core_temperature=drift(40)))
    alarm = floor.alarm()
    signals = floor.rows("signals")
    assert signals
    assert {signal["alarm_id"] for signal in signals} == {alarm.id}
    assert (alarm.first_shot_id, alarm.last_shot_id) == (signals[0]["shot_id"], signals[-1]["shot_id"])


@pytest.mark.parametrize("batch", [1, 7, 1_000])
def test_the_size_of_the_batches_does_not_change_which_alarms_there_are(floor: Floor, batch: int) -> None:
    floor.make(floor.steady(120), batch=batch)
    floor.make(floor.steady(30, 2, mold_core_temperature=1.0), batch=batch)
    floor.make(floor.steady(60, 3), batch=batch)
    alarm = floor.alarm()
    assert alarm.state == "latched_unacknowledged"
    events = [step["event"] for step in floor.rows("alarm_steps")]
    assert [each for each in events if each != "rise"] == ["occur", "clear"]
    assert ("rise" in events) is (batch == 1)  # else nobody could be told of its first shot alone
    (hold,) = floor.rows("holds")
    assert hold["to_shot_id"] == alarm.last_shot_id


def test_one_bad_shot_is_a_small_alarm_with_one_disc_on_hold(floor: Floor) -> None:
    values = floor.steady(140)
    values["cushion"][120] = 4.4
    ids = floor.make(values, batch=1)
    alarm = floor.alarm()
    assert alarm.headline == "Cushion low, one shot"
    assert alarm.state == "latched_unacknowledged"
    assert (alarm.change_low_shot_id, alarm.change_shot_id) == (ids[120], ids[120])
    (hold,) = floor.rows("holds")
    assert (hold["from_shot_id"], hold["to_shot_id"]) == (ids[120], ids[120])
    assert alarm.causes
    assert alarm.causes[0]["cause"].startswith("Check ring did not seat")


def test_a_bad_shot_followed_by_more_of_them_becomes_a_lasting_change(floor: Floor) -> None:
    floor.make(floor.steady(120))
    ids = floor.make(floor.steady(12, 2, cushion=-1.0), batch=1)
    alarm = floor.alarm()
    assert alarm.headline == "Cushion 1.0 mm lower"
    assert alarm.change_shot_id == ids[0]


@pytest.mark.parametrize("taken", [False, True])
def test_people_told_of_one_bad_shot_are_told_again_at_once_when_it_lasts(floor: Floor, taken: bool) -> None:
    settings = Settings(channels=(MessageChannel(name="phone", url="json://localhost", roles=("operator",)),))
    floor.make(floor.steady(120))
    floor.make(floor.steady(1, 2, cushion=-1.0), batch=1)
    assert floor.alarm().headline == "Cushion low, one shot"
    assert tell_people(floor.engine, settings, floor.clock) == 1
    with database.write(floor.engine) as conn:
        conn.execute(sa.update(tables.outbox).values(state=outbox.SENT))
    if taken:
        act.acknowledge(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock)
    told = []
    for seed in range(3, 13):
        floor.make(floor.steady(1, seed, cushion=-1.0), batch=1)
        told += [floor.alarm().headline] * tell_people(floor.engine, settings, floor.clock)
    assert floor.alarm().state == "active_unacknowledged"
    assert len(told) == 1  # once, and it says that it lasts
    assert "one shot" not in told[0]
    events = [step["event"] for step in floor.rows("alarm_steps")]
    assert events.count("realarm" if taken else "rise") == 1
    last = [row["payload"] for row in floor.rows("outbox") if row["channel"] == "phone"][-1]
    assert "(grew)" in last


def test_a_second_characteristic_joins_and_is_written_down(floor: Floor) -> None:
    floor.make(floor.steady(120))
    floor.make(floor.steady(20, 2, mold_core_temperature=1.0), batch=1)
    floor.make(floor.steady(30, 3, mold_core_temperature=1.0, part_weight=0.5), batch=1)
    alarm = floor.alarm()
    assert {item["key"] for item in alarm.characteristics} == {"mold_core_temperature", "part_weight"}
    notes = [step["note"] for step in floor.rows("alarm_steps") if step["event"] == "grow"]
    assert notes == ["Part weight"]


def test_it_clears_after_five_quiet_charted_shots_and_not_before(floor: Floor) -> None:
    floor.make(floor.steady(120))
    floor.make(floor.steady(8, 2, cushion=-0.9))
    floor.restart_charts()
    floor.make(floor.steady(30, 3), phase="startup")
    floor.make(floor.steady(4, 4))
    assert floor.alarm().state == "active_unacknowledged"
    floor.make(floor.steady(1, 5))
    assert floor.alarm().state == "latched_unacknowledged"


def test_what_a_hold_no_longer_has_once_it_ends_is_said(floor: Floor) -> None:
    floor.make(floor.steady(120))
    ids = floor.make(floor.steady(8, 2, cushion=-0.9))
    floor.restart_charts()
    floor.make(floor.steady(10, 4))
    (hold,) = floor.rows("holds")
    held, after = hold["to_shot_id"] - hold["from_shot_id"] + 1, ids[-1] + 10 - hold["to_shot_id"]
    [note] = [step["note"] for step in floor.rows("alarm_steps") if step["event"] == "clear"]
    assert note.endswith(f": {held} discs on hold, {after} discs made since are not")


def test_signals_soon_after_make_the_same_alarm_active_again(floor: Floor) -> None:
    floor.make(floor.steady(120))
    floor.make(floor.steady(8, 2, cushion=-0.9))
    floor.restart_charts()
    floor.make(floor.steady(10, 3))
    act.acknowledge(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock)
    assert floor.alarm().state == "latched_acknowledged"
    floor.make(floor.steady(8, 4, cushion=-0.9), batch=1)
    alarm = floor.alarm()
    assert (alarm.state, alarm.acknowledged_by) == ("active_unacknowledged", None)
    (hold,) = floor.rows("holds")
    assert hold["to_shot_id"] is None


def test_signals_long_after_are_a_new_alarm(floor: Floor) -> None:
    floor.make(floor.steady(120))
    for seed in (2, 4):
        floor.make(floor.steady(8, seed, cushion=-0.9))
        floor.restart_charts()
        floor.make(floor.steady(40, seed + 1))
    first, second = floor.alarms()
    assert first.last_shot_id is not None
    assert second.change_low_shot_id is not None
    assert second.change_low_shot_id > first.last_shot_id


def test_the_light_goes_off_when_no_alarm_is_left_and_what_is_still_on_hold_is_named(
    floor: Floor,
) -> None:
    floor.make(floor.steady(120))
    floor.make(floor.steady(8, 2, cushion=-0.9))
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    assert retained(floor)["state"] == "active_acknowledged"
    act.close(floor.engine, alarm_id, who="technician 1", clock=floor.clock, cause="check ring")
    message = retained(floor)
    assert (message["active"], message["state"]) == (False, "latched_acknowledged")
    assert message["hold"] == ["47"]
    (hold,) = floor.rows("holds")
    act_hold.release(
        floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="dome inside tolerance"
    )
    message = retained(floor)
    assert (message["active"], message["state"], message["hold"]) == (False, "normal", [])


def test_a_hold_never_shrinks_and_opens_again_after_a_release(floor: Floor) -> None:
    floor.make(floor.steady(120))
    starts = []
    for seed in range(2, 12):
        floor.make(floor.steady(2, seed, mold_core_temperature=0.4))
        starts += [hold["from_shot_id"] for hold in floor.rows("holds")]
    assert starts == sorted(starts, reverse=True)
    (hold,) = floor.rows("holds")
    act_hold.release(
        floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="dome inside tolerance"
    )
    (fresh, *_) = floor.make(floor.steady(3, 20, mold_core_temperature=0.6), batch=1)
    released, opened = floor.rows("holds")
    assert released["state"] == "released"
    assert released["to_shot_id"] < opened["from_shot_id"] == fresh
    assert opened["state"] == "open"


def test_a_setpoint_off_its_recipe_is_an_alarm_of_its_own_kind(floor: Floor) -> None:
    ids = floor.make(floor.steady(30))
    with database.write(floor.engine) as conn:
        _qualify(conn, floor, {"cooling_time": {"setpoint": 45.0, "allowed": 0.5}})
    floor.off_recipe(ids[-1], "cooling_time", 36.0)
    alarm = floor.alarm()
    assert alarm.kind == "recipe"
    assert alarm.headline == "Cooling time 36.00 s instead of 45.00 s"
    (hold,) = floor.rows("holds")
    assert hold["from_shot_id"] == ids[-1]


def test_a_lot_change_is_dated_and_named(floor: Floor) -> None:
    """A step of two sigma in weight, as a new lot may bring: the estimate falls near it."""
    floor.make(floor.steady(200))
    ids = floor.make(floor.steady(30, 9, part_weight=-0.2), batch=1)
    alarm = floor.alarm()
    assert alarm.headline.startswith("Part weight 0.")
    assert alarm.headline.endswith("lighter")
    assert alarm.change_shot_id == pytest.approx(ids[0], abs=5)


def test_signals_that_a_replay_withdrew_no_longer_count(floor: Floor) -> None:
    values = floor.steady(123)
    values["cushion"][120] = 4.4
    floor.make(values)
    with database.write(floor.engine) as conn:
        conn.execute(sa.update(tables.signals).values(withdrawn=True, changed="a late shot came"))
    floor.restart_charts()
    (fresh, *_) = floor.make(floor.steady(12, 2, part_weight=-0.25), batch=1)
    alarm = floor.alarm()
    assert {item["key"] for item in alarm.characteristics} == {"cushion", "part_weight"}
    assert alarm.headline.startswith("Part weight 0.")
    assert alarm.change_shot_id == pytest.approx(fresh, abs=2)


def test_a_roll_back_leaves_no_alarm(floor: Floor) -> None:
    floor.make(floor.steady(120))
    values = floor.steady(10, 2, cushion=-0.9)
    values["part_weight"][-1] = np.nan  # the store refuses it, and with it the batch
    with pytest.raises(ValueError, match="finite"):
        floor.make(values)
    assert floor.alarms() == []


def test_the_extent_of_a_stretch_counts_discs_and_trays(floor: Floor) -> None:
    ids = floor.make(floor.steady(70))
    with database.read(floor.engine) as conn:
        found = extent(conn, press_id=floor.press.id, from_shot_id=ids[15], to_shot_id=ids[44])
    assert (found.discs, found.trays, found.without_tray) == (30, ("41", "42", "43"), 0)
    assert (found.first_counter, found.last_counter) == (1_015, 1_044)


@pytest.mark.parametrize(
    ("trays", "words"),
    [
        ((), ""),
        (("7",), "tray 7"),
        (("41", "42"), "trays 41 and 42"),
        (("41", "42", "43", "44"), "trays 41 to 44"),
        (("P2-009", "P2-010", "P2-011"), "trays P2-009 to P2-011"),
        (("P2-009", "P3-010", "P2-011"), "trays P2-009, P3-010 and P2-011"),
        (("A", "C", "D"), "trays A, C and D"),
        (tuple("ACEGIKM"), "trays A, C and 5 more"),
        (("41", "42", "44", "45"), "trays 41 to 42 and 44 to 45"),
        (("41", "42", "44", "46", "47", "49"), "trays 41 to 42, 44 and 3 more"),
        (
            tuple(f"P2-{n}" for n in (182, 183, 184, 198, 199, 200, 201, 202)),
            "trays P2-182 to P2-184 and P2-198 to P2-202",
        ),
    ],
)
def test_trays_are_named_as_people_do_and_as_a_range_only_where_none_is_missing(
    trays: tuple[str, ...], words: str
) -> None:
    assert tray_words(trays) == words


def test_all_stretches_of_trays_are_named_where_there_is_room_for_them() -> None:
    assert tray_words(("1", "2", "4", "6", "8", "9"), most=None) == "trays 1 to 2, 4, 6 and 8 to 9"


def _qualify(conn: Any, floor: Floor, setpoints: dict[str, Any]) -> None:
    recipe = conn.execute(
        sa.insert(tables.recipes)
        .values(name="r", version=1, setpoints=setpoints)
        .returning(tables.recipes.c.id)
    ).scalar_one()
    conn.execute(sa.update(tables.runs).where(tables.runs.c.id == floor.run_id).values(recipe_id=recipe))
