"""Two people at two tablets, and a batch of shots between them, on both databases."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta
from functools import partial

from collector.actions import alarms as act
from collector.actions import holds as act_hold
from collector.actions import shelving
from collector.errors import NotAllowed
from collector.store import alarms as alarm_store
from collector.store import database, presses
from tests.collector.alarms.floor import Floor

ROUNDS = 6


def at_once(*acts: Callable[[], object]) -> list[str]:
    """Do these in threads that begin together; what each was refused with, or "" where it was done."""
    barrier = threading.Barrier(len(acts))
    said = [""] * len(acts)

    def run(place: int) -> None:
        barrier.wait()
        try:
            acts[place]()
        except NotAllowed as error:
            said[place] = str(error)

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return said


def test_of_two_who_acknowledge_at_once_the_second_hears_who_has_it(floor: Floor) -> None:
    for number in range(ROUNDS):
        press = Floor(floor.engine, f"P{number + 2}")
        press.make(press.steady(120))
        press.make(press.steady(8, 2, cushion=-0.9))
        alarm_id = press.alarm().id
        said = at_once(*(
            partial(act.acknowledge, press.engine, alarm_id, who=who, clock=press.clock)
            for who in ("operator 1", "operator 2")
        ))  # fmt: skip
        has_it = press.alarm().acknowledged_by
        assert sorted(said) == ["", f"{has_it} has it already: there is nothing left to acknowledge"]
        assert [row["event"] for row in press.rows("alarm_steps") if row["alarm_id"] == alarm_id] == [
            "occur", "acknowledge",
        ]  # fmt: skip


def test_of_two_who_decide_about_a_hold_at_once_one_does(floor: Floor) -> None:
    (hold,) = floor.rows("holds")
    given = {"who": "quality 1", "clock": floor.clock, "reason": "x"}
    said = at_once(
        lambda: act_hold.release(floor.engine, hold["id"], **given),
        lambda: act_hold.scrap(floor.engine, hold["id"], **given),
    )
    state = floor.rows("holds")[0]["state"]
    assert sorted(said) == ["", f"hold {hold['id']} was {state} by quality 1 already"]


def test_shelving_and_closing_at_once_leaves_one_of_them(floor: Floor) -> None:
    alarm_id = floor.alarm().id
    act.acknowledge(floor.engine, alarm_id, who="operator 1", clock=floor.clock)
    until = floor.clock.now() + timedelta(hours=1)
    said = at_once(
        lambda: act.close(floor.engine, alarm_id, who="technician 1", clock=floor.clock, cause="x"),
        lambda: shelving.shelve(
            floor.engine, alarm_id, who="technician 1", clock=floor.clock, until=until, reason="x"
        ),
    )
    assert sorted(map(bool, said)) == [False, True]
    assert len(floor.rows("set_asides")) == (said[1] == "")


def test_a_batch_of_shots_does_not_undo_what_a_person_did_meanwhile(floor: Floor) -> None:
    """The batch reads the alarm only once it has the press; an act in between waits for it or comes first."""
    alarm_id = floor.alarm().id
    entered, go_on = threading.Event(), threading.Event()

    def batch() -> None:
        with database.write(floor.engine) as conn:
            presses.lock(conn, floor.press.id)
            entered.set()
            go_on.wait(timeout=30)
            row = alarm_store.get(conn, alarm_id)
            assert row is not None
            alarm_store.change(conn, alarm_id, {"state": row.state, "quiet_shots": row.quiet_shots + 1})

    writing = threading.Thread(target=batch)
    writing.start()
    assert entered.wait(timeout=30)
    person = threading.Thread(
        target=act.acknowledge,
        args=(floor.engine, alarm_id),
        kwargs={"who": "operator 1", "clock": floor.clock},
    )
    person.start()
    go_on.set()
    writing.join(timeout=30)
    person.join(timeout=30)
    alarm = floor.alarm()
    assert (alarm.state, alarm.acknowledged_by, alarm.quiet_shots) == ("active_acknowledged", "operator 1", 1)
