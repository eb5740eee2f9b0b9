"""Floor time runs as fast as it is told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from collector.clock import ServiceClock, real_clock, wall_now

WALL = datetime(2026, 11, 24, 10, tzinfo=UTC)
FLOOR = datetime(2026, 11, 6, 22, tzinfo=UTC)


def test_a_minute_on_the_wall_is_an_hour_on_a_floor_sixty_times_faster() -> None:
    clock = ServiceClock(
        wall_anchor=WALL, service_anchor=FLOOR, speed=60.0, wall=lambda: WALL + timedelta(minutes=1)
    )

    assert clock.now() == FLOOR + timedelta(hours=1)


def test_by_default_floor_time_is_real_time() -> None:
    assert abs(real_clock().now() - wall_now()) < timedelta(seconds=5)


@pytest.mark.parametrize("speed", [0.0, -1.0])
def test_a_clock_that_stands_or_runs_backward_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        ServiceClock(wall_anchor=WALL, service_anchor=FLOOR, speed=speed)
