"""What the floor screen knows of each press, one record a kind. Frozen, no judgment of words or shapes."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from dashboard.queries.hold_extent import Held

WINDOW = timedelta(hours=2)

Activity = Literal["running", "silent", "idle"]


@dataclass(frozen=True, slots=True)
class Mark:
    """One shot as the lane draws it; `at` is microseconds since 1970, `share` None without limits."""

    at: int
    phase: str
    share: float | None
    signaled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """The open run of a press, else its newest."""

    id: int
    name: str
    mold: str | None
    blend: str | None
    lot: str | None  # in force
    opened_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LastShot:
    """The newest shot of a press, whenever it was."""

    counter: int | None
    ended_at: datetime
    phase: str
    share: float | None
    run_id: int | None
    cycle_time_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFacts:
    """The alarm a lane speaks of, with the shot where its change began."""

    id: int
    kind: str
    state: str
    headline: str
    opened_at: datetime
    cause: str | None
    change_counter: int | None
    change_at: datetime | None
    provisional: bool = False  # under limits that nobody has approved


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """All facts of one press on the floor screen."""

    press_id: int
    name: str
    state: str | None
    activity: Activity
    quiet_since: datetime | None
    usual_cycle_s: float | None
    run: RunFacts | None
    last: LastShot | None
    marks: tuple[Mark, ...]
    steady_shots: int | None = None
    provisional: bool = False
    studyable: bool = False  # enough steady shots to study limits that are more than provisional
    first_shot_waits: bool = False  # for a person to look at the first discs of the run
    alarm: AlarmFacts | None = None
    alarms_open: int = 0
    alarms_quiet: int = 0  # shelved, out of service, or suppressed while the press starts up
    hold: Held = field(default_factory=Held)
    alarm_hold: Held = field(default_factory=Held)  # what the alarm that the lane speaks of holds itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """The whole screen at one moment of the service clock."""

    now: datetime
    lanes: tuple[Lane, ...]
    gaugings_due: int
    collector_seen_at: datetime | None  # service time of its last sign of life
    collector_silent_for: timedelta | None  # wall time, None while it lives
    store_problem: str | None = None  # why no collector can store anything, while it is silent
    service_alarm: str | None = None  # what the service says of itself, such as that the broker is away

    @property
    def start(self) -> datetime:
        """Left edge of the time axis."""
        return self.now - WINDOW
