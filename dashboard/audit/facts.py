"""The facts that the evidence of one run is made of, one record a kind. Frozen, no judgment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """What was made, from what, under which recipe version."""

    id: int
    site: str
    press: str
    name: str
    mold: str | None
    blend: str | None
    lot: str | None
    color: str | None
    opened_at: datetime
    closed_at: datetime | None
    opened_by: str
    recipe: str | None
    recipe_version: int | None
    qualified_by: str | None
    qualified_at: datetime | None
    setpoints: Mapping[str, Mapping[str, float]]
    context: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotFacts:
    """Counts over the shots of the run; `digest` stands for every stored shot, in the order of the charts."""

    total: int
    startup: int
    baseline: int
    charted: int
    signaled: int
    time_reconstructed: int
    without_counter: int
    without_tray: int
    epochs: int
    first: str
    last: str
    first_at: datetime | None
    last_at: datetime | None
    trays: tuple[str, ...]
    sources: tuple[str, ...]
    not_written: Mapping[str, int]
    digest: str
    broken: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InForce:
    """One version of a characteristic's limits, and the shots of the run that were judged by it.

    `first` and `last` are places in the run's list of shots, from 0.
    """

    limits_id: int
    key: str
    version: int
    standing: str
    own: bool                 # made by the service for this run alone
    approved_by: str | None
    made_at: datetime
    reason: str | None
    baseline: Mapping[str, Any]
    effective_n: float
    charts: Sequence[Mapping[str, Any]]
    cost: Mapping[str, Any]
    lines: tuple[float, float, float] | None   # lower, center, upper of the chart of single shots
    superseded: bool          # a newer version exists today; it is not used here
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EventFact:
    """Something that changed during the run; `place` is the first shot under the new condition."""

    kind: str
    at: datetime
    place: int | None
    key: str | None
    old: Any
    new: Any
    note: str | None
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalGroup:
    """Signals of one characteristic by one rule of one chart in one alarm; places from 0."""

    alarm_id: int | None
    kind: str
    key: str
    chart: str | None
    rule: str
    direction: int
    count: int
    first: int
    last: int
    largest_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFact:
    """One step in the life of an alarm."""

    at: datetime
    event: str
    after: str
    who: str
    note: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFact:
    """One alarm and what people did about it; places from 0, None where not known."""

    id: int
    kind: str
    state: str
    opened_at: datetime
    headline: str
    first: int | None
    last: int | None
    change: int | None
    change_low: int | None
    change_high: int | None
    causes: tuple[Mapping[str, Any], ...]
    acknowledged_by: str | None
    acknowledged_at: datetime | None
    closed_by: str | None
    closed_at: datetime | None
    cause: str | None
    note: str | None
    steps: tuple[StepFact, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFact:
    """Discs that were set aside, and what became of them, with the counts of who decided."""

    id: int
    alarm_id: int | None
    state: str
    reason: str
    first: int | None
    last: int | None
    discs: int
    trays: tuple[str, ...]
    without_tray: int
    opened_by: str
    opened_at: datetime
    closed_by: str | None
    closed_at: datetime | None
    note: str | None
    good_discs: int | None = None
    bad_discs: int | None = None

    @property
    def decided(self) -> str:
        """What became of them, with both counts where they were sorted."""
        if self.state != "sorted":
            return self.state
        return f"sorted ({self.good_discs or 0:,} good, {self.bad_discs or 0:,} scrapped)"


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugingFact:
    """One gauging of a disc of the run."""

    characteristic: str
    value: float
    unit: str
    age_h: float | None
    gauged_at: datetime | None
    place: int | None
    joined_by: str | None
    order_offset: int | None
    gauge: str | None
    definition: str | None
    who: str | None
    source: str
    disc_mark: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Mean and standard deviation of one characteristic over the steady shots, or the discs, of a run."""

    key: str
    n: int
    mean: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherRun:
    """A run of the same press and context, for comparison."""

    name: str
    opened_at: datetime
    lot: str | None
    shots: int
    signaled: int
    scrapped: bool
    levels: tuple[Level, ...]
    discs: tuple[Level, ...]
