"""One instance of a fault as it was drawn: what it moves, how far, how fast, and whether it comes and goes.

A case is data; the physics does the rest. Times count in seconds from the moment it begins.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeVar

from simulator.faults.garble import Garble
from simulator.health import SOUND, Health, PerZone
from simulator.plant import Settings

Growth = Literal["step", "settling", "ramp", "daily"]


@dataclass(frozen=True, slots=True)
class Situation:
    """What a shot is made under: what was set, and the condition of everything else.

    `hall_k` is by how much the hall is warmer than its usual day and night; `lot` and `color` are what is in
    the screw, where they differ from the press's usual ones.
    """

    settings: Settings
    health: Health = SOUND
    hall_k: float = 0.0
    lot: str | None = None
    color: str | None = None


@dataclass(frozen=True, slots=True)
class Stop:
    """The press stands still once; one that is not told shows only as a long cycle with the gate open."""

    length_s: float
    told: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One drawn instance.

    Attributes
    ----------
    health : mapping of str to float or tuple of float
        Field of `Health` to its value when the fault is full-grown.
    settings : mapping of str to float
        Field of `Settings` to what somebody enters; entered at once when the growth passes a half.
    hall_k : float
        By how much the hall is warmer, full-grown.
    growth : {'step', 'settling', 'ramp', 'daily'}
        At once; 1 - exp(-t / rise_s); straight up to full after rise_s; or up and down again in rise_s.
    lag_s : float
        Nothing happens before; a new lot first has to come down the hopper.
    rise_s : float
    fades : bool
        At its end it goes as it came, with the same lag, as material does; otherwise it is gone at once.
    spells : tuple of float
        Lengths of at work, not at work, at work, ...; begins anew after the last. Empty: always at work.
    lasts_s : float
        From when on it has spent itself, whenever the episode ends.
    stop : Stop or None
    lot, color : str or None
        What is poured into the hopper.
    announced : bool
        Whether anybody tells the service of the new lot or color; told when it is poured in.
    garble : Garble or None
        What happens to the records instead of the shots.
    variant : str
        In words, which of its forms it takes.
    """

    health: Mapping[str, float | PerZone] = field(default_factory=dict)
    settings: Mapping[str, float] = field(default_factory=dict)
    hall_k: float = 0.0
    growth: Growth = "step"
    lag_s: float = 0.0
    rise_s: float = 0.0
    fades: bool = False
    spells: tuple[float, ...] = ()
    lasts_s: float = math.inf
    stop: Stop | None = None
    lot: str | None = None
    color: str | None = None
    announced: bool = True
    garble: Garble | None = None
    variant: str = ""

    def grown(self, elapsed_s: float) -> float:
        """How far it has grown, 0 to 1; 0 also while it is not at work."""
        since_s = elapsed_s - self.lag_s
        if since_s < 0 or elapsed_s > self.lasts_s or not self._at_work(since_s):
            return 0.0
        return self._risen(since_s)

    def left(self, elapsed_s: float, ended_s: float) -> float:
        """What is left of it `ended_s` after its end."""
        if not self.fades:
            return 0.0
        if ended_s < self.lag_s:
            return self.grown(elapsed_s)
        return self._risen(elapsed_s - self.lag_s) - self._risen(ended_s - self.lag_s)

    @property
    def lingers_s(self) -> float:
        """How long after its end nothing noticeable is left."""
        return self.lag_s + 5 * self.rise_s if self.fades else 0.0

    def apply(self, situation: Situation, grown: float) -> Situation:
        """Take a situation to the faulty one; several cases add up."""
        return replace(
            situation,
            settings=self._set(situation.settings, grown),
            health=self._sickened(situation.health, grown),
            hall_k=situation.hall_k + self.hall_k * grown,
            lot=self.lot if self.lot is not None and grown >= 0.5 else situation.lot,
            color=self.color if self.color is not None and grown >= 0.5 else situation.color,
        )

    def times(self, factor: float) -> "Case":
        """The same case, so many times as large in everything that grows."""
        neutral = {name: getattr(SOUND, name) for name in self.health}
        health = {
            name: _moved(neutral[name], neutral[name], full, factor) for name, full in self.health.items()
        }
        return replace(self, health=health, hall_k=self.hall_k * factor)

    def within(self, most_s: float) -> "Case":
        """The same case, come and grown within a time where it would take longer."""
        return replace(self, lag_s=min(self.lag_s, most_s / 2), rise_s=min(self.rise_s, most_s / 2))

    def _risen(self, since_s: float) -> float:
        if self.growth == "step" or self.rise_s <= 0:
            return 1.0
        if self.growth == "ramp":
            return min(since_s / self.rise_s, 1.0)
        if self.growth == "daily":
            return (1 - math.cos(2 * math.pi * since_s / self.rise_s)) / 2
        return 1.0 - math.exp(-since_s / self.rise_s)

    def _at_work(self, since_s: float) -> bool:
        if not self.spells:
            return True
        place_s = since_s % sum(self.spells)
        for number, length_s in enumerate(self.spells):
            if place_s < length_s:
                return number % 2 == 0
            place_s -= length_s
        return False

    def _set(self, settings: Settings, grown: float) -> Settings:
        return _replaced(settings, self.settings) if self.settings and grown >= 0.5 else settings

    def _sickened(self, health: Health, grown: float) -> Health:
        moved = {
            name: _moved(getattr(health, name), getattr(SOUND, name), full, grown)
            for name, full in self.health.items()
        }
        return _replaced(health, moved) if moved else health


_Record = TypeVar("_Record", Settings, Health)


def _replaced(record: _Record, changes: Mapping[str, Any]) -> _Record:
    return replace(record, **changes)


def _moved(now: Any, neutral: Any, full: Any, grown: float) -> float | PerZone:
    """Now, and of the way from neutral to full as much as it has grown; each zone by itself."""
    if isinstance(now, tuple):
        return tuple(n + grown * (f - o) for n, o, f in zip(now, neutral, full, strict=True))
    return float(now + grown * (full - neutral))
