"""Gaugings out of tolerance: which discs are one matter, what goes on hold, what a person sees of it.

That a disc out of tolerance sets aside what nobody has gauged around it is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Any

import pytest
import sqlalchemy as sa

from collector.actions import alarms as alarm_actions
from collector.actions import gaugings as actions
from collector.actions import holds as hold_actions
from collector.actions.alarm_steps import take_in_hand
from collector.alarms.gauged import judge_new
from collector.clock import ServiceClock
from collector.gauging.model import NewGauging
from collector.gauging.outside import Bounds, Reading, groups
from collector.store import alarms as alarm_store
from collector.store import holds as hold_store
from collector.store import runs
from collector.store.database import read, write
from collector.store.tables import outbox
from tests.collector.gauging.floor import DAY, at, make, press, run

NOW = at(0) + 3 * DAY
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
ALLOWED = {"Larch 5": {"dome": Bounds(2.1, 2.8)}}


def bounds(*values: float) -> list[tuple[tuple[int, ...], int | None, int | None]]:
    readings = [Reading(n, n, value) for n, value in enumerate(values)]
    return [
        (tuple(each.shot_id for each in group.bad), group.after_good, group.before_good)
        for group in groups(readings, Bounds(2.0, 3.0))
    ]


def test_discs_outside_that_lie_close_are_one_group_and_five_good_discs_end_it() -> None:
    assert bounds(2.5, 3.1, 1.9, 2.5, 3.5, 2.5) == [((1, 2, 4), 0, 5)]
    assert bounds(3.1, *[2.5] * 4, 3.2) == [((0, 5), None, None)]
    assert bounds(3.1, *[2.5] * 5, 3.2) == [((0,), None, 1), ((6,), 5, None)]
    assert bounds(3.1, 3.2) == [((0, 1), None, None)]
    assert bounds(2.0, 3.0) == []  # the bounds are inside


@pytest.mark.parametrize(("low", "high", "value", "excess"), [(None, 3.0, 3.5, 0.5), (2.0, None, 1.5, -0.5)])
def test_a_tolerance_may_be_open_on_one_side(
    low: float | None, high: float | None, value: float, excess: float
) -> None:
    assert Bounds(low, high).excess(value) == pytest.approx(excess)
    assert Bounds(low, high).excess(2.5) == 0.0


class Discs:
    """Forty discs of one run in trays of four, and a gauge."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine = engine
        with write(engine) as conn:
            self.press_id = press(conn)
            self.run_id = run(conn, self.press_id)
            trays = [f"P1-{n:03d}" for n in range(1, 11)]
            self.ids = make(conn, self.press_id, self.run_id, range(40), trays=trays)

    def gauge(self, readings: dict[int, float], *, after_h: float = 30.0) -> list[int]:
        """Dome of some discs, by their place; the numbers of the gaugings."""
        return [
            actions.enter(
                self.engine,
                NewGauging(
                    site="lowland", characteristic="dome", value=value, unit="mm", shot_id=self.ids[place],
                    press="P1", gauged_at=at(place) + after_h / 24 * DAY,
                ),
                who="operator 1", clock=CLOCK,
            ).gauging_id
            for place, value in readings.items()
        ]  # fmt: skip

    def judge(self) -> list[int]:
        with write(self.engine) as conn:
            return judge_new(conn, ALLOWED, now=NOW, wall=NOW)

    def alarms(self) -> Sequence[alarm_store.AlarmRow]:
        with read(self.engine) as conn:
            return alarm_store.unclosed(conn)

    def holds(self) -> list[Any]:
        with read(self.engine) as conn:
            return hold_store.open_holds(conn)

    def places(self, hold: Any) -> tuple[int, int | None]:
        last = None if hold.to_shot_id is None else self.ids.index(hold.to_shot_id)
        return self.ids.index(hold.from_shot_id), last


@pytest.fixture
def discs(engine: sa.Engine) -> Discs:
    return Discs(engine)


def test_a_dome_out_of_tolerance_holds_what_lies_between_two_good_discs_by_tray(discs: Discs) -> None:
    discs.gauge({5: 2.5, 14: 3.1, 27: 2.4})
    discs.judge()

    (alarm,) = discs.alarms()
    (hold,) = discs.holds()
    assert (alarm.kind, alarm.state) == ("gauging", "latched_unacknowledged")
    assert alarm.headline == "Dome 3.10 mm, allowed 2.10 mm to 2.80 mm; one disc"
    assert discs.places(hold) == (4, 27)  # from the tray of disc 6 to the tray of disc 26
    assert alarm.causes is not None
    assert any("Gauge the disc again" in check for check in alarm.causes[0]["checks"])


def test_the_next_bad_neighbor_joins_the_alarm_and_calls_anew(discs: Discs) -> None:
    discs.gauge({5: 2.5, 14: 3.1})
    discs.judge()
    assert discs.places(discs.holds()[0]) == (4, None)  # the run goes on
    alarm_actions.acknowledge(discs.engine, discs.alarms()[0].id, who="quality 1", clock=CLOCK)

    discs.gauge({18: 3.4})
    assert discs.judge() == [discs.alarms()[0].id]
    assert discs.judge() == []  # nothing new

    (alarm,) = discs.alarms()
    assert alarm.state == "latched_unacknowledged"
    assert alarm.headline == "Dome 3.40 mm, allowed 2.10 mm to 2.80 mm; 2 discs, this the worst"


def test_it_waits_for_a_person_who_decides_about_the_alarm(discs: Discs) -> None:
    if discs.engine.dialect.name == "sqlite":
        pytest.skip("SQLite has one writer at a time")
    discs.gauge({5: 2.5, 14: 3.1})
    discs.judge()
    discs.gauge({18: 3.4})
    with ThreadPoolExecutor() as pool:
        with write(discs.engine) as person:
            take_in_hand(person, discs.alarms()[0].id)
            judging = pool.submit(discs.judge)
            assert wait([judging], timeout=1.0).not_done
        assert judging.result() == [discs.alarms()[0].id]


def test_a_good_disc_afterwards_ends_the_hold_and_so_does_the_end_of_the_run(discs: Discs) -> None:
    discs.gauge({14: 3.1})
    discs.judge()
    discs.gauge({21: 2.5})
    discs.judge()
    assert discs.places(discs.holds()[0]) == (0, 23)

    discs.gauge({22: 2.5, 23: 2.4, 24: 2.5, 25: 2.4, 30: 1.9})
    discs.judge()
    assert discs.places(discs.holds()[1]) == (24, None)
    with write(discs.engine) as conn:
        runs.close_run(conn, discs.run_id, at=at(41))
    discs.judge()
    assert discs.places(discs.holds()[1]) == (24, 39)


def test_a_gauging_that_is_taken_back_is_noted_and_the_hold_is_left_to_a_person(discs: Discs) -> None:
    gauging_id = discs.gauge({14: 31.0})[0]
    discs.judge()
    actions.withdraw(discs.engine, gauging_id, who="operator 1", clock=CLOCK, why="point forgotten")
    discs.judge()
    discs.judge()

    (alarm,) = discs.alarms()
    with read(discs.engine) as conn:
        notes = [step.note for step in alarm_store.steps(conn, alarm.id)]
    assert notes.count("no gauging of it is outside the tolerance any more") == 1
    assert len(discs.holds()) == 1


def test_a_disc_that_was_gauged_too_early_or_of_another_mold_raises_nothing(discs: Discs) -> None:
    discs.gauge({14: 3.1}, after_h=2.0)
    with write(discs.engine) as conn:
        told = judge_new(conn, {"Alder 9": ALLOWED["Larch 5"]}, now=NOW, wall=NOW)
    discs.judge()

    assert told == []
    assert discs.alarms() == []


def test_once_decided_and_closed_only_further_discs_raise_another_alarm(discs: Discs) -> None:
    discs.gauge({14: 3.1, 20: 2.5})
    discs.judge()
    (alarm,) = discs.alarms()
    hold_actions.release(discs.engine, discs.holds()[0].id, who="quality 1", clock=CLOCK, reason="sorted")
    alarm_actions.acknowledge(discs.engine, alarm.id, who="quality 1", clock=CLOCK)
    alarm_actions.close(discs.engine, alarm.id, who="quality 1", clock=CLOCK, cause="mold core too warm")
    discs.gauge({22: 2.4})
    assert discs.judge() == []

    discs.gauge({24: 3.3})
    discs.judge()
    assert len(discs.alarms()) == 1
    assert discs.places(discs.holds()[0]) == (20, None)  # what was decided stays decided


def test_the_alarm_is_announced_to_the_stack_light(discs: Discs) -> None:
    discs.gauge({14: 3.1})
    discs.judge()
    with read(discs.engine) as conn:
        payloads = conn.execute(sa.select(outbox.c.payload).where(outbox.c.channel == "mqtt")).scalars().all()

    assert "Dome 3.10 mm" in payloads[-1]
