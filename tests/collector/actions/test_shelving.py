"""Shelves, and what is out of service: quiet, listed, and back again.

That a shelf has an end, a reason and a longest duration, is listed and ends by itself is asked by
IEC 62682:2022 and ANSI/ISA-18.2-2016 (from memory).
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions import alarms as act
from collector.actions import shelving
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, journal, set_asides
from tests.collector.alarms.floor import Floor

HOUR = timedelta(hours=1)


def shelve(floor: Floor, until: datetime | None = None, **changes: Any) -> int:
    number = floor.alarms()[0].id
    given = {"who": "technician 1", "clock": floor.clock, "reason": "check ring is on order"}
    given["until"] = until or floor.clock.now() + HOUR
    shelving.shelve(floor.engine, number, **(given | changes))
    return number


def later(floor: Floor, wait: timedelta) -> ServiceClock:
    now = floor.clock.now() + wait
    return replace(floor.clock, wall_anchor=now, service_anchor=now, wall=lambda: now)


def retained(floor: Floor) -> dict[str, Any]:
    return json.loads([row for row in floor.rows("outbox") if row["channel"] == "mqtt"][-1]["payload"])


def said(floor: Floor) -> int:
    return len(floor.rows("outbox"))


def test_a_shelved_alarm_calls_nobody_and_the_message_says_so(floor: Floor) -> None:
    number = shelve(floor)
    message = retained(floor)
    assert (message["active"], message["state"], message["alarm"]) == (False, "shelved", number)
    assert message["sentence"].endswith("(shelved)")
    assert floor.alarm().beneath == "active_unacknowledged"


def test_it_is_listed_with_its_end_its_reason_and_the_person(floor: Floor) -> None:
    number = shelve(floor)
    with database.read(floor.engine) as conn:
        (shelf,) = set_asides.lasting(conn)
    assert (shelf.kind, shelf.alarm_id, shelf.who) == ("shelved", number, "technician 1")
    assert (shelf.reason, shelf.until) == ("check ring is on order", floor.clock.now() + HOUR)


def test_on_the_shelf_it_grows_quietly_and_holds_its_discs(floor: Floor) -> None:
    shelve(floor)
    before = said(floor)
    ids = floor.make(floor.steady(30, 3, cushion=-0.9), batch=1)
    alarm = floor.alarm()
    assert said(floor) == before
    assert alarm.state == "shelved"
    assert alarm.last_shot_id is not None
    assert alarm.last_shot_id > ids[20]
    (hold,) = floor.rows("holds")
    assert (hold["state"], hold["to_shot_id"]) == ("open", None)


def test_another_characteristic_still_calls(floor: Floor) -> None:
    number = shelve(floor)
    floor.make(floor.steady(30, 3, cushion=-0.9, mold_core_temperature=1.5), batch=1)
    shelved, other = floor.alarms()
    assert (shelved.id, shelved.state) == (number, "shelved")
    assert [item["key"] for item in shelved.characteristics] == ["cushion"]
    assert other.state == "active_unacknowledged"
    assert [item["key"] for item in other.characteristics] == ["mold_core_temperature"]
    assert retained(floor)["alarm"] == other.id


def test_it_comes_back_by_itself_at_its_end_and_calls_if_it_is_still_there(floor: Floor) -> None:
    number = shelve(floor)
    assert shelving.return_due(floor.engine, later(floor, HOUR - timedelta(seconds=1))) == []
    assert shelving.return_due(floor.engine, later(floor, HOUR)) == [number]
    assert floor.alarm().state == "active_unacknowledged"
    assert retained(floor)["active"] is True
    step = floor.rows("alarm_steps")[-1]
    assert (step["event"], step["who"], step["note"]) == ("unshelve", "service", "its time is over")
    assert shelving.return_due(floor.engine, later(floor, 2 * HOUR)) == []


def test_what_went_away_on_the_shelf_comes_back_with_nothing_to_acknowledge(floor: Floor) -> None:
    number = shelve(floor)
    floor.restart_charts()
    floor.make(floor.steady(30, 3))
    assert (floor.alarm().state, floor.alarm().beneath) == ("shelved", "latched_unacknowledged")
    shelving.return_due(floor.engine, later(floor, HOUR))
    assert floor.alarm().state == "latched_acknowledged"
    act.close(floor.engine, number, who="technician 1", clock=floor.clock, cause="check ring")
    assert floor.alarms() == []


def test_a_clock_that_is_set_back_ends_the_shelf(floor: Floor) -> None:
    """A step back of the service's clock must not make a shelf last for days."""
    number = shelve(floor)
    assert shelving.return_due(floor.engine, later(floor, -timedelta(days=2))) == [number]
    assert floor.rows("set_asides")[0]["end_reason"].startswith("the clock was set back")


def test_a_clock_that_leaps_ahead_ends_the_shelf_early_and_the_alarm_calls(floor: Floor) -> None:
    number = shelve(floor)
    assert shelving.return_due(floor.engine, later(floor, timedelta(days=400))) == [number]
    assert floor.alarm().state == "active_unacknowledged"


def test_a_person_takes_it_from_the_shelf(floor: Floor) -> None:
    number = shelve(floor)
    shelving.unshelve(floor.engine, number, who="operator 1", clock=floor.clock, reason="ring is here")
    assert floor.alarm().state == "active_unacknowledged"
    assert floor.rows("set_asides")[0]["ended_by"] == "operator 1"
    with pytest.raises(NotAllowed, match="it is not shelved"):
        shelving.unshelve(floor.engine, number, who="operator 1", clock=floor.clock)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"until": None}, "not shelved without an end"),
        ({"hours": -1}, "the end of the shelf is past"),
        ({"hours": 9}, "for 8 h at most; for longer, take what it is about out of service"),
        ({"reason": " "}, "give the reason"),
        ({"who": ""}, "choose a name"),
    ],
)
def test_a_shelf_without_end_reason_or_name_is_refused(
    floor: Floor, changes: dict[str, Any], words: str
) -> None:
    if "hours" in changes:
        changes = {"until": floor.clock.now() + changes["hours"] * HOUR}
    given = {"who": "technician 1", "reason": "x", "until": floor.clock.now() + HOUR} | changes
    with pytest.raises(NotAllowed, match=words):
        shelving.shelve(floor.engine, floor.alarm().id, clock=floor.clock, **given)
    assert floor.rows("set_asides") == []
    assert floor.alarm().state == "active_unacknowledged"


def test_on_the_shelf_it_can_be_neither_acknowledged_nor_closed(floor: Floor) -> None:
    number = shelve(floor)
    with pytest.raises(NotAllowed, match="kept quiet; let it come back first"):
        act.acknowledge(floor.engine, number, who="operator 1", clock=floor.clock)
    with pytest.raises(NotAllowed, match="kept quiet"):
        act.close(floor.engine, number, who="operator 1", clock=floor.clock, cause="x")


def out(floor: Floor, key: str | None) -> int:
    return shelving.take_out_of_service(
        floor.engine, floor.press.id, key, who="technician 1", clock=floor.clock, reason="sensor is repaired"
    )


def test_a_characteristic_out_of_service_is_charted_and_held_but_calls_nobody(engine: sa.Engine) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    out(floor, "cushion")
    floor.make(floor.steady(20, 2, cushion=-0.9), batch=1)
    alarm = floor.alarm()
    assert alarm.state == "out_of_service"
    assert floor.rows("signals")
    assert floor.rows("holds")[0]["state"] == "open"
    assert said(floor) == 0


def test_it_comes_back_by_a_person_and_calls_if_the_condition_is_there(engine: sa.Engine) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    number = out(floor, "cushion")
    floor.make(floor.steady(20, 2, cushion=-0.9))
    shelving.put_back(engine, number, who="technician 1", clock=floor.clock, reason="repaired")
    assert floor.alarm().state == "active_unacknowledged"
    assert retained(floor)["active"] is True
    with pytest.raises(NotAllowed, match="put back already"):
        shelving.put_back(engine, number, who="technician 1", clock=floor.clock)
    with pytest.raises(NotAllowed, match="nothing with the number 99"):
        shelving.put_back(engine, 99, who="technician 1", clock=floor.clock)


def test_a_whole_press_is_taken_out_with_its_alarms_and_their_shelves(floor: Floor) -> None:
    number = shelve(floor)
    away = out(floor, None)
    assert floor.alarm().state == "out_of_service"
    with database.read(floor.engine) as conn:
        assert [each.kind for each in set_asides.lasting(conn)] == ["out_of_service"]
    before = said(floor)
    floor.make(floor.steady(20, 3, mold_core_temperature=2.0))
    assert said(floor) == before
    assert shelving.return_due(floor.engine, later(floor, 5 * HOUR)) == []
    shelving.put_back(floor.engine, away, who="technician 1", clock=floor.clock)
    assert floor.alarms()[0].id == number
    assert {alarm.state for alarm in floor.alarms()} <= {"active_unacknowledged", "latched_acknowledged"}


def test_what_is_out_of_service_already_is_said_so(floor: Floor) -> None:
    out(floor, None)
    for key in (None, "cushion"):
        with pytest.raises(NotAllowed, match="out of service already, by technician 1: sensor is repaired"):
            out(floor, key)


def test_one_of_two_reasons_keeps_an_alarm_out(floor: Floor) -> None:
    first = out(floor, "cushion")
    whole = out(floor, None)
    shelving.put_back(floor.engine, first, who="technician 1", clock=floor.clock)
    assert floor.alarm().state == "out_of_service"
    shelving.put_back(floor.engine, whole, who="technician 1", clock=floor.clock)
    assert floor.alarm().state == "active_unacknowledged"


def test_every_act_is_in_the_journal_with_its_reason(floor: Floor) -> None:
    number = shelve(floor)
    shelving.return_due(floor.engine, later(floor, HOUR))
    away = out(floor, "cushion")
    shelving.put_back(floor.engine, away, who="technician 1", clock=floor.clock, reason="repaired")
    entries = [(row["who"], row["action"], row["subject"], row["why"]) for row in floor.rows("journal")]
    subject = f"alarm {number}"
    assert entries == [
        ("technician 1", "alarm shelve", subject, "check ring is on order"),
        ("service", "alarm unshelve", subject, "its time is over"),
        ("technician 1", "out of service", "press P1, cushion", "sensor is repaired"),
        ("technician 1", "alarm take_out", subject, "sensor is repaired"),
        ("technician 1", "back in service", "press P1, cushion", "repaired"),
        ("technician 1", "alarm put_back", subject, "repaired"),
    ]
    assert floor.rows("journal")[0]["after"]["until"] == (floor.clock.now() + HOUR).isoformat()
    with database.read(floor.engine) as conn:
        assert journal.verify(conn) == []
