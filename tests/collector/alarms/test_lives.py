"""What the measures read from a store, on both databases."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import sqlalchemy as sa

from collector.actions import alarms as act
from collector.actions import shelving
from collector.alarms.lives import read_measures
from collector.alarms.measures import Measures
from collector.store import database, tables
from tests.collector.alarms.floor import START, Floor


def measures(floor: Floor, **changes: Any) -> Measures:
    with database.read(floor.engine) as conn:
        tolerance = {"Larch 5": (2.4, 3.05)}
        given: dict[str, Any] = {"now": floor.clock.now(), "operators": 1, "allowed": tolerance}
        return read_measures(conn, **(given | changes))


def gauge(floor: Floor, shot_id: int, dome_mm: float) -> None:
    with database.write(floor.engine) as conn:
        conn.execute(
            sa.insert(tables.gaugings).values(
                site="lowland", characteristic="dome", value=dome_mm, unit="mm", gauged_at=START,
                received_at=START, press_id=floor.press.id, run_id=floor.run_id, shot_id=shot_id,
                source="form", identity=str(shot_id).encode(),
            )
        )  # fmt: skip


def test_one_alarm_from_call_to_close(engine: sa.Engine) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    ids = floor.make(floor.steady(10, 2, cushion=-0.9), batch=1)
    number = floor.alarm().id
    found = measures(floor)
    assert (found.calls, found.waiting, found.closed) == (1, 1, 0)
    assert (found.since, found.until) == (START, floor.clock.now())  # not before the first shot
    assert found.top[0].about == "P1: Cushion"
    act.acknowledge(engine, number, who="operator 1", clock=floor.clock)
    act.close(engine, number, who="operator 1", clock=floor.clock, cause="check ring")
    gauge(floor, ids[4], 2.2)
    found = measures(floor)
    assert (found.waiting, found.closed, found.with_cause) == (0, 1, 1)
    assert found.waits_s == (540.0,)  # nine more shots were made until somebody came
    assert (found.gauged, found.confirmed) == (1, 1)


def test_before_the_first_shot_no_time_is_measured(engine: sa.Engine) -> None:
    assert measures(Floor(engine)).days == 0.0


def test_discs_inside_the_tolerance_confirm_nothing_and_others_do_not_count(engine: sa.Engine) -> None:
    floor = Floor(engine)
    ids = floor.make(floor.steady(120))
    later = floor.make(floor.steady(10, 2, cushion=-0.9))
    gauge(floor, ids[10], 2.0)  # long before
    assert measures(floor).gauged == 0
    gauge(floor, later[5], 2.8)
    assert (measures(floor).gauged, measures(floor).confirmed) == (1, 0)
    assert measures(floor, allowed={}).gauged == 0


def test_what_is_kept_quiet_is_no_call_but_is_counted(engine: sa.Engine) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    shelving.take_out_of_service(
        engine, floor.press.id, "cushion", who="technician 1", clock=floor.clock, reason="sensor"
    )
    floor.make(floor.steady(10, 2, cushion=-0.9))
    found = measures(floor)
    assert (found.calls, found.waiting, found.shelved, found.out_of_service) == (0, 0, 0, 1)
    floor.make(floor.steady(10, 3, mold_core_temperature=2.0))
    number = floor.alarms()[-1].id
    shelving.shelve(
        engine, number, who="technician 1", clock=floor.clock, until=floor.clock.now() + timedelta(hours=1),
        reason="x",
    )  # fmt: skip
    found = measures(floor)
    assert (found.calls, found.shelved, found.waiting) == (1, 1, 0)


def test_only_the_last_days_are_measured(engine: sa.Engine) -> None:
    floor = Floor(engine)
    floor.make(floor.steady(120))
    floor.make(floor.steady(10, 2, cushion=-0.9))
    later = floor.clock.now() + timedelta(days=40)
    found = measures(floor, now=later)
    assert (found.calls, found.days) == (0, 30.0)
    assert found.stale == ("P1: Cushion",)
