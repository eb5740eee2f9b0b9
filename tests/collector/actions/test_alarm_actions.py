"""What people may do about an alarm, and what it leaves behind."""

from __future__ import annotations

import json

import pytest
import sqlalchemy as sa

from collector.actions import alarms as act
from collector.actions import holds as act_hold
from collector.errors import NotAllowed
from collector.store import database, journal, restarts
from tests.collector.alarms.floor import Floor


def returned(floor: Floor) -> int:
    """Let the process come back, so that the alarm clears."""
    floor.restart_charts()
    floor.make(floor.steady(10, 3))
    return floor.alarm().id


def asked_restarts(engine: sa.Engine, floor: Floor) -> list[restarts.Restart]:
    with database.write(engine) as conn:
        return restarts.take(conn, floor.press.id, at=floor.clock.now())


def test_acknowledging_names_the_person(floor: Floor) -> None:
    act.acknowledge(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock, note="looking")
    alarm = floor.alarm()
    assert (alarm.state, alarm.acknowledged_by) == ("active_acknowledged", "operator 1")
    assert alarm.acknowledged_at == floor.clock.now()
    last = floor.rows("alarm_steps")[-1]
    assert (last["event"], last["who"], last["note"]) == ("acknowledge", "operator 1", "looking")


def test_an_acknowledged_alarm_that_returns_waits_for_a_cause(floor: Floor) -> None:
    act.acknowledge(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock)
    returned(floor)
    alarm = floor.alarm()
    assert (alarm.state, alarm.closed_at) == ("latched_acknowledged", None)
    act.close(floor.engine, alarm.id, who="operator 1", clock=floor.clock, cause=act.UNKNOWN_CAUSE)
    assert floor.alarms() == []


def test_closing_keeps_cause_and_note_and_asks_for_fresh_charts(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    act.close(
        floor.engine, alarm_id, who="technician 1", clock=floor.clock, cause=" check ring ", note="replaced"
    )
    (row,) = floor.rows("alarms")
    assert (row["cause"], row["note"], row["closed_by"]) == ("check ring", "replaced", "technician 1")
    (asked,) = asked_restarts(floor.engine, floor)
    assert (asked.key, asked.who, asked.why) == (None, "technician 1", f"alarm {alarm_id} closed: check ring")


def test_closing_an_active_alarm_ends_its_hold_at_the_newest_shot(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    act.close(floor.engine, alarm_id, who="technician 1", clock=floor.clock, cause="check ring")
    (hold,) = floor.rows("holds")
    assert (hold["state"], hold["to_shot_id"]) == ("open", floor.rows("shots")[-1]["id"])


def test_charts_need_not_start_anew_after_a_return(floor: Floor) -> None:
    alarm_id = returned(floor)
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    act.close(
        floor.engine, alarm_id, who="operator 1", clock=floor.clock, cause="late tray", restart_charts=False
    )
    assert asked_restarts(floor.engine, floor) == []


@pytest.mark.parametrize(
    ("cause", "restart", "words"),
    [("check ring", True, "acknowledge it first"), ("  ", True, "closed with a cause")],
)
def test_closing_is_refused_in_one_sentence(floor: Floor, cause: str, restart: bool, words: str) -> None:
    with pytest.raises(NotAllowed, match=words):
        act.close(
            floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock, cause=cause,
            restart_charts=restart,
        )  # fmt: skip
    assert len(floor.alarms()) == 1


def test_an_active_alarm_is_not_closed_while_its_charts_go_on(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    with pytest.raises(NotAllowed, match="still active"):
        act.close(
            floor.engine, alarm_id, who="operator 1", clock=floor.clock, cause="x", restart_charts=False
        )


def test_nobody_and_nothing_are_refused(floor: Floor) -> None:
    with pytest.raises(NotAllowed, match="choose a name"):
        act.acknowledge(floor.engine, floor.alarm().id, who=" ", clock=floor.clock)
    with pytest.raises(NotAllowed, match="no alarm 99"):
        act.acknowledge(floor.engine, 99, who="operator 1", clock=floor.clock)


def test_twice_is_refused(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    with pytest.raises(NotAllowed, match="nothing left to acknowledge"):
        act.acknowledge(floor.engine, alarm_id, who="operator 2", clock=floor.clock)
    act.close(floor.engine, alarm_id, who="operator 1", clock=floor.clock, cause="x")
    with pytest.raises(NotAllowed, match="closed"):
        act.close(floor.engine, alarm_id, who="operator 1", clock=floor.clock, cause="y")


def test_every_act_is_in_the_journal_and_its_chain_holds(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    (hold,) = floor.rows("holds")
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    act.close(floor.engine, alarm_id, who="technician 1", clock=floor.clock, cause="check ring", note="why")
    act_hold.scrap(floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="dome out")
    entries = [(row["who"], row["action"], row["subject"], row["why"]) for row in floor.rows("journal")]
    assert entries == [
        ("operator 1", "alarm acknowledge", f"alarm {alarm_id}", None),
        ("technician 1", "alarm close", f"alarm {alarm_id}", "why"),
        ("quality 1", "hold scrapped", f"hold {hold['id']}", "dome out"),
    ]
    with database.read(floor.engine) as conn:
        assert journal.verify(conn) == []


def test_a_refused_act_leaves_nothing_behind(floor: Floor) -> None:
    before = {table: floor.rows(table) for table in ("alarms", "alarm_steps", "outbox", "journal")}
    with pytest.raises(NotAllowed):
        act.close(floor.engine, floor.alarm().id, who="operator 1", clock=floor.clock, cause="x")
    assert {table: floor.rows(table) for table in before} == before


def test_a_released_hold_is_over_and_the_message_no_longer_names_trays(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    act_hold.release(floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="dome in tolerance")
    (after,) = floor.rows("holds")
    assert (after["state"], after["closed_by"], after["note"]) == (
        "released",
        "quality 1",
        "dome in tolerance",
    )
    assert after["to_shot_id"] == floor.rows("shots")[-1]["id"]
    sent = [row for row in floor.rows("outbox") if row["channel"] == "mqtt"]
    assert json.loads(sent[-1]["payload"])["hold"] == []
    with pytest.raises(NotAllowed, match="was released by quality 1 already"):
        act_hold.scrap(floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="again")


def test_a_hold_needs_a_reason(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    with pytest.raises(NotAllowed, match="give the reason"):
        act_hold.release(floor.engine, hold["id"], who="quality 1", clock=floor.clock, reason="")
    with pytest.raises(NotAllowed, match="no hold 99"):
        act_hold.release(floor.engine, 99, who="quality 1", clock=floor.clock, reason="x")


def test_a_person_sets_discs_aside_by_hand(floor: Floor) -> None:
    hold_id = act_hold.open_by_hand(
        floor.engine, from_shot_id=3, to_shot_id=9, who="operator 2", clock=floor.clock, reason="black specks"
    )
    hold = floor.rows("holds")[-1]
    assert (hold["id"], hold["alarm_id"], hold["run_id"]) == (hold_id, None, floor.run_id)
    assert (hold["state"], hold["opened_by"], hold["reason"]) == ("open", "operator 2", "black specks")


@pytest.mark.parametrize(
    ("first", "last", "words"), [(9, 3, "earlier to a later"), (3, 9_999, "no shot 9999")]
)
def test_a_hold_by_hand_is_a_stretch_of_stored_shots(floor: Floor, first: int, last: int, words: str) -> None:
    with pytest.raises(NotAllowed, match=words):
        act_hold.open_by_hand(
            floor.engine, from_shot_id=first, to_shot_id=last, who="operator 2", clock=floor.clock, reason="x"
        )


def test_a_hold_by_hand_stays_on_one_press(floor: Floor) -> None:
    other = Floor(floor.engine, "P2")
    (theirs, *_) = other.make(other.steady(3))
    with pytest.raises(NotAllowed, match="one press"):
        act_hold.open_by_hand(
            floor.engine, from_shot_id=3, to_shot_id=theirs, who="operator 2", clock=floor.clock, reason="x"
        )
