"""Silence from the store to the alarm and back, with a clock that the test moves, on both databases."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from random import Random
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions import alarms as act
from collector.actions import shelving
from collector.clock import ServiceClock
from collector.errors import StoreUnavailable
from collector.jobs import JOBS, connections, silence
from collector.jobs.job import Job, Shop
from collector.settings import Settings
from collector.store import database, tables
from collector.store.jobs import Result
from collector.vitals import Vitals
from tests.collector.alarms.floor import START, Floor


@dataclass
class Place:
    """A floor of some presses, watched by both jobs."""

    engine: sa.Engine
    floors: dict[str, Floor]
    at_s: float = 0.0
    broker: str | None = None

    def __post_init__(self) -> None:
        clock = ServiceClock(wall_anchor=START, service_anchor=START, wall=lambda: START)
        vitals = Vitals(START, broker=lambda: self.broker, protocol=lambda: "5", in_hand=lambda: 0)
        self.shop = Shop(
            engine=self.engine, settings=Settings(), clock=clock, random=Random(1), vitals=vitals,
            deliver_soon=lambda: None,
        )  # fmt: skip

    def wait(self, seconds: float, *heard: str) -> None:
        """Let time pass in steps of a cycle, with shots of some presses, and the jobs look each time."""
        for _ in range(int(seconds // 60)):
            self.at_s += 60
            for name in heard:
                self.floors[name].make(self.floors[name].steady(1, int(self.at_s)))
            self.look()

    def look(self) -> None:
        connections.look(self.shop, monotonic=lambda: self.at_s, host="box")
        silence.look(self.shop, monotonic=lambda: self.at_s)

    def alarms(self) -> list[dict[str, Any]]:
        return [row for row in self.floors["P1"].rows("alarms") if row["closed_at"] is None]

    def told(self) -> list[tuple[str, str]]:
        return [(row["headline"], row["state"]) for row in self.alarms()]


@pytest.fixture
def place(engine: sa.Engine, monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> Place:
    """Two presses that run, heard once since the collector began to listen."""
    monkeypatch.chdir(tmp_path)
    floors = {name: Floor(engine, name) for name in ("P1", "P2")}
    with database.write(engine) as conn:
        conn.execute(sa.update(tables.presses).values(usual_cycle_s=60.0, state="automatic", heard_at=START))
    place = Place(engine, floors)
    place.look()
    place.wait(60, "P1", "P2")
    return place


def message(place: Place, topic: str) -> dict[str, Any]:
    sent = [row for row in place.floors["P1"].rows("outbox") if row["topic"] == topic and row["retain"]]
    return json.loads(sent[-1]["payload"])


def test_a_press_that_falls_silent_is_an_alarm_of_its_own_and_clears_with_the_next_shot(place: Place) -> None:
    place.wait(600, "P2")
    assert place.told() == []
    place.wait(60, "P2")
    assert place.told() == [("No shot for 11 min: look at the press first", "active_unacknowledged")]
    sent = message(place, "evenrun/1/lowland/P1/alarm")
    assert (sent["active"], sent["hold"], sent["state"]) == (True, [], "active_unacknowledged")
    place.wait(60, "P1", "P2")
    assert place.told()[0][1] == "returned_unacknowledged"
    assert place.floors["P1"].rows("holds") == []


def test_a_press_known_from_files_only_is_never_silent(place: Place) -> None:
    with database.write(place.engine) as conn:
        conn.execute(sa.update(tables.presses).where(tables.presses.c.name == "P1").values(heard_at=None))
    place.wait(3600, "P2")
    assert place.told() == []


def test_while_the_store_takes_nothing_in_no_press_is_called_silent(place: Place) -> None:
    place.shop.vitals.store_problem = "the database is locked"
    place.wait(3600)
    assert not [headline for headline, _ in place.told() if "silent" in headline or "No shot" in headline]
    place.shop.vitals.store_problem = None
    place.wait(600, "P2")
    assert not [headline for headline, _ in place.told() if "No shot" in headline]  # counted from now on
    place.wait(60, "P2")
    assert [headline for headline, _ in place.told() if "No shot" in headline]


def test_it_is_said_once_and_the_same_alarm_calls_again(place: Place) -> None:
    place.wait(1800, "P2")
    place.wait(60, "P1", "P2")
    place.wait(900, "P2")
    (alarm,) = place.alarms()
    events = [step["event"] for step in place.floors["P1"].rows("alarm_steps")]
    assert events == ["occur", "clear", "reoccur"]
    act.acknowledge(place.engine, alarm["id"], who="operator 1", clock=place.shop.clock)
    with pytest.raises(Exception, match="still active: close it after it cleared"):
        act.close(place.engine, alarm["id"], who="operator 1", clock=place.shop.clock, cause="x")
    place.wait(60, "P1", "P2")
    act.close(place.engine, alarm["id"], who="operator 1", clock=place.shop.clock, cause="cable")
    assert place.alarms() == []
    assert place.floors["P1"].rows("chart_restarts") == []  # nothing was wrong with any chart


def test_all_presses_silent_together_are_one_alarm_of_the_service(place: Place) -> None:
    place.wait(1800)
    assert place.told() == [("All presses are silent: P1, P2", "active_unacknowledged")]
    (alarm,) = place.alarms()
    assert (alarm["press_id"], alarm["site"], alarm["subject"]) == (None, "lowland", "gateway:")
    assert message(place, "evenrun/1/lowland/collector/alarm")["sentence"] == "All presses are silent: P1, P2"
    place.wait(60, "P1", "P2")
    assert place.told()[0][1] == "returned_unacknowledged"


def test_a_press_that_was_silent_first_is_part_of_the_gateway_later(place: Place) -> None:
    place.wait(900, "P2")
    place.wait(900)
    press, gateway = place.alarms()
    assert (press["state"], gateway["state"]) == ("returned_unacknowledged", "active_unacknowledged")
    notes = [step["note"] for step in place.floors["P1"].rows("alarm_steps") if step["event"] == "clear"]
    assert notes == ["all presses of its gateway are silent, which is one matter"]


def test_a_press_that_says_it_stopped_is_suppressed_by_design_and_calls_when_it_should_run(
    place: Place,
) -> None:
    place.wait(900, "P2")
    _state(place, "stopped")
    place.wait(60, "P2")
    assert place.told()[0][1] == "suppressed_by_design"
    assert message(place, "evenrun/1/lowland/P1/alarm")["active"] is True  # not told anew
    _state(place, "automatic")
    place.wait(60, "P2")
    assert place.told()[0][1] == "active_unacknowledged"


def test_a_press_that_stands_before_it_is_silent_calls_nobody(place: Place) -> None:
    _state(place, "setup")
    place.wait(3600, "P2")
    assert place.alarms() == []


def test_a_press_out_of_service_is_silent_quietly(place: Place) -> None:
    shelving.take_out_of_service(
        place.engine, place.floors["P1"].press.id, None, who="technician 1", clock=place.shop.clock,
        reason="mold change",
    )  # fmt: skip
    place.wait(900, "P2")
    assert place.told()[0][1] == "out_of_service"
    assert place.floors["P1"].rows("outbox") == []


def test_a_restart_of_the_collector_neither_clears_nor_raises(place: Place) -> None:
    place.wait(900, "P2")
    again = Place(place.engine, place.floors)
    silence._ears.clear()
    again.wait(300, "P2")
    assert again.told()[0][1] == "active_unacknowledged"
    again.wait(60, "P1", "P2")
    assert again.told()[0][1] == "returned_unacknowledged"


def test_a_clock_that_leaps_makes_no_press_silent(place: Place) -> None:
    """Neither the service's clock nor a press's own is asked."""
    leaped = replace(place.shop.clock, service_anchor=START + timedelta(days=3))
    place.shop = replace(place.shop, clock=leaped)
    place.wait(120, "P1", "P2")
    assert place.alarms() == []


def test_without_the_broker_one_alarm_speaks_for_all_presses(place: Place) -> None:
    place.broker = "connection refused"
    place.wait(1800)
    headline = "No connection to the broker from box: connection refused"
    assert place.told() == [(headline, "active_unacknowledged")]
    place.broker = None
    place.wait(240, "P1")  # the press whose gateway is slower gets its time again
    assert place.told() == [(headline, "returned_unacknowledged")]
    place.wait(900, "P1")
    assert place.told()[1:] == [("No shot for 11 min: look at the press first", "active_unacknowledged")]


def test_that_the_database_was_away_is_told_when_it_is_back(place: Place) -> None:
    place.shop.vitals.store_problem = "disk full"
    place.wait(120)
    assert place.told() == []
    place.shop.vitals.store_problem = None
    place.wait(60, "P1", "P2")
    headline = "No connection to the database from box: it was away for 120 s, and shots waited for it"
    assert place.told() == [(headline, "returned_unacknowledged")]


def test_a_store_that_cannot_be_read_is_noticed_too(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def away(_: object) -> None:
        raise StoreUnavailable("gone")

    monkeypatch.setattr(connections, "read", away)
    for at_s in (100.0, 160.0):
        connections.look(place.shop, monotonic=lambda at_s=at_s: at_s, host="box")  # type: ignore[misc]
    monkeypatch.undo()
    connections.look(place.shop, monotonic=lambda: 170.0, host="box")
    assert place.told()[0][0].endswith("it was away for 70 s, and shots waited for it")


@pytest.mark.parametrize(("every_s", "late_s"), [(5.0, 3600 - 300), (3600.0, 0.0), (600.0, 1800.0)])
def test_a_job_is_overdue_after_three_turns_and_some_minutes(every_s: float, late_s: float) -> None:
    result = Result(
        name="x", started_at=START - timedelta(hours=1), finished_at=None, took_s=None, failed=False,
        outcome=None, missed=None, missed_until=None, failed_since=None,
    )  # fmt: skip
    job = Job(name="x", every_s=every_s, work=lambda _: None)
    assert [each.late_s for each in silence.overdue([result], [job], site="a", wall=START)] == [late_s]
    assert silence.overdue([replace(result, name="gone")], [job], site="a", wall=START) == []
    own = replace(job, of_site=True)
    assert silence.overdue([replace(result, name=own.kept_as("b"))], [own], site="a", wall=START) == []
    (mine,) = silence.overdue([replace(result, name=own.kept_as("a"))], [own], site="a", wall=START)
    assert (mine.name, mine.late_s) == ("x", late_s)


def test_both_jobs_run_in_the_service() -> None:
    assert {"silence", "connections", "unshelve"} <= {job.name for job in JOBS}


def _state(place: Place, state: str) -> None:
    with database.write(place.engine) as conn:
        conn.execute(sa.update(tables.presses).where(tables.presses.c.name == "P1").values(state=state))
