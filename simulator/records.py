"""What the pretend shop hands out: shots, events and gaugings, each with aware UTC times.

A shot carries its truth beside what the press reports, so that what the service concludes can be judged.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

EventKind = Literal["run", "tray", "setpoints", "state"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really happened to a disc; no message ever carries it.

    Attributes
    ----------
    counter : int
        Number of the shot as a counter that nobody resets would have it.
    ended_at : datetime
        By a clock that is right.
    faults : tuple of str
        Names of the faults at work in this shot or in its message, in alphabetical order.
    startup : bool
        The press had not settled since its last start.
    lot : str
        Material lot really in the screw.
    dome_24h_mm, diameter_24h_mm : float
        What a perfect gauge would read 24 h after the shot.
    weight_g : float
        What a perfect scale would read.
    sound_dome_24h_mm : float
        What `dome_24h_mm` would be had there been no fault, under the same chance.
    scrapped : bool
        Thrown away at the press; its place in the tray stays empty, and nobody can gauge it.
    fresh_dome_mm, fresh_diameter_mm : float
        Of the disc as it leaves the mold; from there both go to their final values over a day.
    """

    counter: int
    ended_at: datetime
    faults: tuple[str, ...]
    startup: bool
    lot: str
    dome_24h_mm: float
    diameter_24h_mm: float
    weight_g: float
    sound_dome_24h_mm: float
    scrapped: bool
    fresh_dome_mm: float
    fresh_diameter_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimShot:
    """One press cycle as its gateway would report it.

    Attributes
    ----------
    press : str
        "P1", "P2", ...
    counter : int
        The press's own shot counter; only rises here.
    ended_at : datetime
        Aware, UTC.
    run, tray : str
        Name of the run and number of the tray the disc went to.
    tray_position : int
        Place in the tray, from 1.
    values, setpoints : dict
        Quantity key (no unit in it) to number in the canonical unit.
    truth : Truth
    """

    press: str
    counter: int
    ended_at: datetime
    run: str
    tray: str
    tray_position: int
    values: dict[str, float]
    setpoints: dict[str, float]
    truth: Truth


@dataclass(frozen=True, slots=True, kw_only=True)
class SimEvent:
    """A message that is not a shot; `payload` is the JSON object of the message contract, less its press.

    `happened_at` is when it really was, where the gateway's clock is wrong.
    """

    kind: EventKind
    press: str
    at: datetime
    payload: dict[str, Any] = field(default_factory=dict)
    happened_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SimGauging:
    """One reading of one disc.

    Attributes
    ----------
    press, run, tray : str
        Where the disc came from.
    counter : int or None
        The shot, when the person knew it; otherwise tray and position name the disc.
    tray_position : int
        Place in the tray, from 1.
    characteristic : str
        "dome" (mm), "diameter" (mm) or "weight" (g).
    value : float
        In that unit, with the gauge's error and resolution.
    gauged_at : datetime
        Aware, UTC.
    age_h : float
        Hours since the end of the shot.
    gauge, who : str
        Name of the gauge and role of the person.
    mistake : str or None
        What a person got wrong in this entry; no message ever carries it.
    """

    press: str
    run: str
    tray: str
    tray_position: int
    counter: int | None
    characteristic: str
    value: float
    gauged_at: datetime
    age_h: float
    gauge: str
    who: str
    mistake: str | None = None


SimRecord = SimShot | SimEvent


def happened(record: SimRecord) -> datetime:
    """When a record really was, whatever its gateway's clock says."""
    if isinstance(record, SimShot):
        return record.truth.ended_at
    return record.at if record.happened_at is None else record.happened_at
