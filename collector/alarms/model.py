"""What the alarms are told about a shot, and what they keep about a characteristic that moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Literal, NamedTuple

SignalKind = Literal["chart", "setting", "sense", "engineering", "data"]
AlarmKind = Literal["process", "recipe", "data", "gauging", "silence"]
Phase = Literal["startup", "baseline", "charted", "trial"]

OF_ONE_VALUE = frozenset({"implausible", "zero", "unit_jump"})  # doubts that one value is enough for
SINGLE_SHOT_CHART = "individuals"
SINGLE_SHOT_RULE = "beyond_limit"


@dataclass(frozen=True, slots=True, kw_only=True)
class PressRef:
    """A press by its row, its site and its name."""

    id: int
    site: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalFact:
    """One signal of one shot; `signal_id` is its row."""

    signal_id: int
    kind: SignalKind
    key: str
    chart: str | None
    rule: str
    direction: int
    value: float | None
    statistic: float | None
    share: float | None
    limits_id: int | None

    @property
    def alarm_kind(self) -> AlarmKind:
        """A setpoint or timer off its recipe is a matter of the recipe, a value in doubt one of the data."""
        if self.kind == "data":
            return "data"
        return "recipe" if self.kind == "setting" or self.chart == "setting" else "process"

    @property
    def how(self) -> str | None:
        """What was seen, where that is no chart's limit."""
        return self.rule if self.kind in ("data", "sense") else None

    @property
    def usual(self) -> float | None:
        """What a value in doubt used to be, canonical unit; None where the doubt is of many values."""
        return self.statistic if self.kind == "data" and self.rule in OF_ONE_VALUE else None

    @property
    def one_value_far_out(self) -> bool:
        """Whether this one value alone lies beyond an individuals limit."""
        return self.chart == SINGLE_SHOT_CHART and self.rule == SINGLE_SHOT_RULE


class ShotVerdict(NamedTuple):
    """What the charts said about one shot, in the order in which they saw it; a tuple, as `Shot` is."""

    shot_id: int
    counter: int | None
    ended_at: datetime
    run_id: int | None
    phase: Phase
    tray: str | None
    signals: tuple[SignalFact, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A characteristic of an alarm: from which level to which, in its canonical unit.

    Attributes
    ----------
    direction : int
        -1 or +1; 0 when the signal has no side.
    before, after : float or None
        In-control level and recent level; for a setpoint the recipe's value and the reported one.
    unit : str or None
        Canonical unit, None when the unit is not known.
    share : float
        Largest statistic so far as a share of its limit.
    shots : int
        Number of signaling shots.
    single : bool
        Single bad shots, the process around them stayed where it was.
    how : str or None
        What was seen, where that is no chart's limit: a rule of the data checks or of setpoint sense.
    turned_shot_id : int or None
        First shot on the side where a lasting change is now, where it was on the other one before.
    """

    key: str
    direction: int
    before: float | None
    after: float | None
    unit: str | None
    share: float
    shots: int
    single: bool
    how: str | None = None
    turned_shot_id: int | None = None

    def to_json(self) -> dict[str, Any]:
        """The fields as a dictionary that JSON can carry."""
        return asdict(self)

    @classmethod
    def from_json(cls, fields: Mapping[str, Any]) -> Moved:
        """Read what :meth:`to_json` wrote."""
        return cls(**fields)
