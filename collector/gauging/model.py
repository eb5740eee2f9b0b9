"""A gauging as it is handed over, the disc it is found to belong to, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from collector.contract.messages import GaugingMessage

JoinedBy = Literal["shot", "tray", "order"]
State = Literal["joined", "tray_only", "waiting", "duplicate"]
Standing = Literal["final", "provisional", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewGauging:
    """One reading of one disc, ready to be stored.

    The disc is named by its stored shot, by press and counter, by tray and position, or by its place
    in a list.

    Attributes
    ----------
    characteristic : str
        dome, diameter, weight, ...
    value, unit
        In the canonical unit.
    original_value, original_unit
        As read, where that was another unit.
    gauged_at : datetime or None
        Aware; None when not known, and then neither is the age.
    order_index : int or None
        Place in the list `order_batch`, from 0.
    """

    site: str
    characteristic: str
    value: float
    unit: str
    original_value: float | None = None
    original_unit: str | None = None
    gauged_at: datetime | None = None
    shot_id: int | None = None
    press: str | None = None
    counter: int | None = None
    run: str | None = None
    tray: str | None = None
    position: int | None = None
    disc_mark: str | None = None
    order_batch: str | None = None
    order_index: int | None = None
    gauge: str | None = None
    temperature_degc: float | None = None
    definition: str | None = None
    who: str | None = None


def from_message(message: GaugingMessage) -> NewGauging:
    """The gauging that a message or a row of a file reports."""
    original = message.original or (None, None)
    return NewGauging(
        site=message.site, press=message.press, run=message.run, counter=message.counter,
        characteristic=message.characteristic, value=message.value, unit=message.unit,
        original_value=original[0], original_unit=original[1], gauged_at=message.gauged_at,
        tray=message.tray, position=message.position, disc_mark=message.disc_mark,
        order_batch=message.order_batch, order_index=message.order_index, gauge=message.gauge,
        temperature_degc=message.temperature_degc, definition=message.definition, who=message.who,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A disc, by the shot that made it."""

    shot_id: int
    press_id: int
    run_id: int | None
    counter: int | None
    ended_at: datetime
    time_reconstructed: bool
    tray: str | None
    tray_position: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Where a gauging belongs: a disc, at least a tray's filling, or nowhere yet with the reason."""

    by: JoinedBy | None
    disc: Disc | None
    press_id: int | None = None
    run_id: int | None = None
    reason: str = ""

    @property
    def state(self) -> State:
        """joined, tray_only or waiting."""
        if self.disc is not None:
            return "joined"
        return "waiting" if self.by is None else "tray_only"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one gauging.

    Attributes
    ----------
    gauging_id : int
        Its row; of the one stored before when it is a duplicate.
    state : {'joined', 'tray_only', 'waiting', 'duplicate'}
    shot_id : int or None
    age_h : float or None
    standing : {'final', 'provisional', 'unknown'}
    reason : str
        Why it is not joined to a disc, in one sentence; empty otherwise.
    """

    gauging_id: int
    state: State
    shot_id: int | None
    age_h: float | None
    standing: Standing
    reason: str = ""
