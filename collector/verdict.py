"""What the engine is told and what it answers: policy, signals, events, verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from collector.plan import KeyLimits
from rules.run_rules import RULES, points_of

Phase = Literal["startup", "baseline", "charted", "trial"]

DEFAULT_CYCLE_S = 60.0
POINTS = {rule.name: points_of(rule) for rule in RULES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """The settings the engine needs, see `collector.settings.Charts`."""

    vital: frozenset[str]
    startup_shots: int = 10
    provisional_shots: int = 25
    stop_cycles: float = 5.0
    new_run_after_stop_h: float = 4.0
    false_alarms_per_day: float = 1.0
    minimum_shift: Mapping[str, float] = field(default_factory=dict)
    setpoint_tolerance: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One rule met by one shot; see the `signals` table."""

    kind: str
    key: str
    chart: str | None
    rule: str
    direction: int
    value: float | None
    statistic: float | None
    share: float | None
    points: int
    limits: KeyLimits | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something on the press's time axis, from this shot on; see the `events` table."""

    kind: str
    key: str | None = None
    old: Any = None
    new: Any = None
    note: str | None = None


class Verdict(NamedTuple):
    """What one shot did; a tuple, because a batch makes hundreds that say nothing."""

    phase: Phase
    share: float | None
    share_key: str | None
    tray: str | None
    tray_position: int | None
    signals: tuple[Signal, ...] = ()
    events: tuple[Event, ...] = ()
    new_limits: tuple[KeyLimits, ...] = ()
