"""Floor time goes on after a restart."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.store import clock
from collector.store.database import read, write

WALL = datetime(2026, 11, 24, 10, 0, 0, 123_456, tzinfo=UTC)
FLOOR = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def test_a_new_store_has_no_clock(engine: sa.Engine) -> None:
    with read(engine) as conn:
        assert clock.load(conn) is None


def test_floor_time_is_the_same_line_after_a_restart(engine: sa.Engine) -> None:
    with write(engine) as conn:
        clock.save(conn, ServiceClock(wall_anchor=WALL, service_anchor=FLOOR, speed=60.0))
    with read(engine) as conn:
        loaded = clock.load(conn)

    assert loaded is not None
    assert loaded.at(WALL + timedelta(seconds=2)) == FLOOR + timedelta(minutes=2)


def test_the_clock_saved_last_counts(engine: sa.Engine) -> None:
    for speed in (1.0, 60.0):
        with write(engine) as conn:
            clock.save(conn, ServiceClock(wall_anchor=WALL, service_anchor=FLOOR, speed=speed))
    with read(engine) as conn:
        loaded = clock.load(conn)

    assert loaded is not None
    assert loaded.speed == 60.0
