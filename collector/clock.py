"""The two clocks of the service.

The *service clock* tells what time it is on the floor: ages, silence, due times, "absurd" time stamps.
It can start anywhere and run faster than real time, so that a demo's day takes minutes.
The *wall clock* is real time: leases, back-off, delivery retries. Nothing else in the product asks
the operating system for the time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime


def wall_now() -> datetime:
    """Real time, aware and in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceClock:
    """Floor time as a straight line over wall time.

    Parameters
    ----------
    wall_anchor, service_anchor : datetime
        The two clocks' readings at one moment, both aware and UTC.
    speed : float
        Floor seconds per wall second, above 0.
    wall : callable
        Source of wall time; a test passes its own.
    """

    wall_anchor: datetime
    service_anchor: datetime
    speed: float = 1.0
    wall: Callable[[], datetime] = wall_now

    def __post_init__(self) -> None:
        if self.speed <= 0:
            raise ValueError(f"the clock's speed must be above 0, not {self.speed}")

    def now(self) -> datetime:
        """Floor time, aware and in UTC."""
        return self.at(self.wall())

    def at(self, wall_time: datetime) -> datetime:
        """Floor time at a given wall time."""
        return self.service_anchor + (wall_time - self.wall_anchor) * self.speed


def real_clock() -> ServiceClock:
    """A service clock that is the wall clock."""
    anchor = wall_now()
    return ServiceClock(wall_anchor=anchor, service_anchor=anchor)


@dataclass(frozen=True, slots=True)
class Moment:
    """Service and wall time of a transaction, and how fast the service's runs."""

    now: datetime
    wall: datetime
    speed: float = 1.0
