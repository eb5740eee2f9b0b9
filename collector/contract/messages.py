"""What else arrives besides shots: runs, trays, setpoints, states and gaugings.

Every time is aware and UTC. `source` names where a message came from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from collector.contract.shot import Original

RunAction = Literal["open", "close"]
PressState = Literal[
    "online", "offline", "automatic", "semi_automatic", "manual", "setup", "sleep", "stopped"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunMessage:
    """A run opens or closes on a press; what it makes, from what, under which recipe.

    A `trial` is made to learn what settings do: its shots are stored and shown, never charted.
    """

    site: str
    press: str
    at: datetime
    run: str
    mold: str | None
    blend: str | None
    lot: str | None
    color: str | None
    recipe: str | None
    recipe_version: int | None
    action: RunAction
    received_at: datetime
    source: str
    trial: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayMessage:
    """From `at` on, discs of this press go to `tray`, the next one to `position` (from 1) if given."""

    site: str
    press: str
    at: datetime
    tray: str
    position: int | None
    received_at: datetime
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetpointsMessage:
    """Setpoints in force from `at` on, canonical units; keys that are absent did not change."""

    site: str
    press: str
    at: datetime
    setpoints: Mapping[str, float]
    originals: Mapping[str, Original]
    units: Mapping[str, str]
    received_at: datetime
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StateMessage:
    """What the press, or the gateway that speaks for it, is doing since `at`."""

    site: str
    press: str
    at: datetime
    state: PressState
    reason: str | None
    received_at: datetime
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugingMessage:
    """One measurement of one disc.

    The disc is named by press and counter, by tray and position, by its mark, or by its place in a
    list (`order_batch`, `order_index` from 0). `gauged_at` None means that the age is not known.
    `value` is in `unit`, the canonical one; `original` is what was sent where that differs.
    """

    site: str
    press: str | None
    gauged_at: datetime | None
    characteristic: str
    value: float
    unit: str
    original: Original | None
    counter: int | None
    tray: str | None
    position: int | None
    disc_mark: str | None
    run: str | None
    order_index: int | None
    order_batch: str | None
    gauge: str | None
    temperature_degc: float | None
    definition: str | None
    who: str | None
    received_at: datetime
    source: str
