"""What goes wrong: one function per fault, each taking a sound situation to a faulty one.

A fault's function gets its progress (0 at the start, towards 1) and its severity (1 is the usual size).
A new fault is one function and one row of `FAULTS`. Directions follow the trade's fault tables (common
practice, no source); sizes are assumed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from simulator.health import SOUND, Health
from simulator.plant import Settings


@dataclass(frozen=True, slots=True)
class Situation:
    """What a shot is made under: what was set, and the condition of everything else."""

    settings: Settings
    health: Health = SOUND


def lot_change(situation: Situation, *, progress: float, severity: float) -> Situation:
    """Another lot of the blend: stiffer melt, more shrinkage. A step, as soon as it reaches the screw tip."""
    return _sicken(
        situation,
        viscosity_factor=1 + 0.06 * severity * progress,
        shrink_factor=1 + 0.18 * severity * progress,
    )


def blocked_coolant_core(situation: Situation, *, progress: float, severity: float) -> Situation:
    """A coolant line of the core clogs: less flow, the core gets warmer than the cavity, dome rises."""
    return _sicken(situation, core_flow_share=_throttled(progress, severity))


def blocked_coolant_cavity(situation: Situation, *, progress: float, severity: float) -> Situation:
    """The same in the cavity half: dome falls."""
    return _sicken(situation, cavity_flow_share=_throttled(progress, severity))


def worn_check_ring(situation: Situation, *, progress: float, severity: float) -> Situation:
    """Melt leaks back past the ring: cushion falls, the disc gets lighter, at times the ring stays open."""
    return _sicken(
        situation,
        ring_leak_mm=2.5 * severity * progress,
        ring_miss_rate=SOUND.ring_miss_rate + 0.01 * severity * progress,
    )


def early_gate(situation: Situation, *, progress: float, severity: float) -> Situation:
    """A person paces the press and opens the gate before the cooling timer has run out, each time anew."""
    return _sicken(situation, cut_s=8.0 * severity * progress, pace_spread=0.25 * severity * progress)


def shorter_cooling(situation: Situation, *, progress: float, severity: float) -> Situation:
    """Somebody shortens the cooling timer by whole seconds: a setpoint change, seen in the setpoints."""
    shorter_s = round(5.0 * severity) if progress > 0 else 0
    settings = replace(situation.settings, cooling_time_s=situation.settings.cooling_time_s - shorter_s)
    return Situation(settings, situation.health)


def _throttled(progress: float, severity: float) -> float:
    return max(1 - 0.6 * severity * progress, 0.05)


def _sicken(situation: Situation, **changes: float) -> Situation:
    return Situation(situation.settings, replace(situation.health, **changes))


@dataclass(frozen=True, slots=True)
class Fault:
    """One row of the table.

    Attributes
    ----------
    apply : callable
        (situation, progress=, severity=) -> situation.
    rise_s : float
        Usual time constant of its growth; 0 is a step.
    """

    apply: Callable[..., Situation]
    rise_s: float


FAULTS: dict[str, Fault] = {
    "lot_change": Fault(lot_change, 120.0),
    "blocked_coolant_core": Fault(blocked_coolant_core, 400.0),
    "blocked_coolant_cavity": Fault(blocked_coolant_cavity, 400.0),
    "worn_check_ring": Fault(worn_check_ring, 900.0),
    "early_gate": Fault(early_gate, 0.0),
    "shorter_cooling": Fault(shorter_cooling, 0.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One fault on one press for a time.

    Attributes
    ----------
    fault : str
        Name in `FAULTS`.
    start, end : datetime
        From the first cycle that begins at or after `start` to the last that begins before `end`.
    severity : float
        1 is the usual size.
    rise_s : float or None
        Time constant of its growth; None takes the fault's usual one.
    lot : str or None
        The lot in use during the episode, where that is the cause.
    """

    fault: str
    press: str
    start: datetime
    end: datetime
    severity: float = 1.0
    rise_s: float | None = None
    lot: str | None = None

    def progress(self, moment: datetime) -> float:
        """How far it has grown: 0 outside the episode, 1 - exp(-t / rise) inside."""
        if not self.start <= moment < self.end:
            return 0.0
        rise_s = FAULTS[self.fault].rise_s if self.rise_s is None else self.rise_s
        elapsed_s = (moment - self.start).total_seconds()
        return 1.0 if rise_s <= 0 else 1 - math.exp(-elapsed_s / rise_s)


def under(episodes: list[Episode], situation: Situation, moment: datetime) -> Situation:
    """Apply every episode at a moment, in the order given."""
    for episode in episodes:
        progress = episode.progress(moment)
        if progress > 0:
            situation = FAULTS[episode.fault].apply(situation, progress=progress, severity=episode.severity)
    return situation
