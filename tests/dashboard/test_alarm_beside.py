"""A gauging's alarm points to the alarm of the press over the same shots."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.alarms.gauged import judge_new
from collector.gauging.model import NewGauging
from collector.gauging.outside import Bounds
from collector.gauging.record import record
from collector.store import database, tables
from dashboard.queries.alarm_detail import detail
from tests.collector.alarms.floor import START, Floor

PAGE = "../../dashboard/app_pages/alarms.py"


@pytest.fixture
def shots(store: sa.Engine) -> list[int]:
    """Shots of a press whose mold core warmed up from the 121st on."""
    floor = Floor(store, "P2")
    warming = 1.2 * (1 - np.exp(-np.arange(1, 41) / 25))
    return [*floor.make(floor.steady(120)), *floor.make(floor.steady(40, 2, mold_core_temperature=warming))]


def gauge(store: sa.Engine, shot_id: int) -> int:
    """Find a disc out of tolerance two days later; the number of the alarm."""
    now = START + timedelta(days=2)
    reading = NewGauging(
        site="lowland", characteristic="dome", value=4.31, unit="mm", shot_id=shot_id, press="P2",
        gauged_at=now,
    )  # fmt: skip
    with database.write(store) as conn:
        record(conn, [reading], now=now, source="form")
        judge_new(conn, {"Larch 5": {"dome": Bounds(2.1, 2.8)}}, now=now, wall=now)
        of_gauging = tables.alarms.c.kind == "gauging"
        return conn.execute(sa.select(tables.alarms.c.id).where(of_gauging)).scalar_one()


def test_a_disc_of_the_shots_that_signaled_names_that_alarm_and_its_cause(store: sa.Engine, shots) -> None:
    number = gauge(store, shots[150])
    with database.write(store) as conn:
        conn.execute(sa.update(tables.alarms).where(tables.alarms.c.id != number).values(cause="coolant"))
    with database.read(store) as conn:
        found = detail(conn, number)
        (only,) = found.beside
        assert only.id != number
        assert detail(conn, only.id).beside == ()
    assert only.cause == "coolant"
    at = AppTest.from_file(PAGE, default_timeout=30).run()
    at.radio[0].set_value(number).run()
    assert not at.exception
    said = " ".join(str(each.value) for each in at.markdown)
    assert f"The press had signaled over the same shots: alarm {only.id} (mold core" in said
    assert "cause given: coolant" in said


def test_a_disc_of_other_shots_names_none(store: sa.Engine, shots) -> None:
    number = gauge(store, shots[20])
    with database.read(store) as conn:
        assert detail(conn, number).beside == ()


def test_a_hold_that_reaches_back_is_over_the_same_shots(store: sa.Engine, shots) -> None:
    with database.read(store) as conn:
        held = conn.execute(sa.select(tables.holds.c.from_shot_id)).scalar_one()
        first = conn.execute(sa.select(tables.alarms.c.first_shot_id)).scalar_one()
    assert held < first
    number = gauge(store, held)
    with database.read(store) as conn:
        assert len(detail(conn, number).beside) == 1
