"""A shot: one press cycle as it arrived, in canonical units."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

Original = tuple[float, str]


class Shot(NamedTuple):
    """One press cycle; a tuple, because they come by the thousand.

    Attributes
    ----------
    site, press : str
        Where it was made.
    counter : int or None
        The press's own cycle counter, which may repeat or restart.
    ended_at, received_at : datetime
        Aware, UTC. `ended_at` is the press's time, `received_at` ours.
    run, tray : str or None
        Run and tray the message named, if it did.
    tray_position : int or None
        Place in the tray, from 1.
    values : mapping of str to float
        Measured values by key, canonical unit.
    originals : mapping of str to (float, str)
        Value and unit as sent, only where a conversion happened.
    setpoints, setpoint_originals : mapping
        The same for what the press was told to do.
    units : mapping of str to str
        Unit of the keys that the quantities table does not know (values and setpoints).
    not_written : tuple of str
        Keys the source names but has no value for: missing, not zero.
    time_reconstructed : bool
        `ended_at` was computed from a start and an interval, not read.
    source : str
        Where the message came from.
    mold : str or None
        Mold that the press says it runs, if it says so.
    """

    site: str
    press: str
    counter: int | None
    ended_at: datetime
    received_at: datetime
    run: str | None
    tray: str | None
    tray_position: int | None
    values: Mapping[str, float]
    originals: Mapping[str, Original]
    setpoints: Mapping[str, float]
    setpoint_originals: Mapping[str, Original]
    units: Mapping[str, str]
    not_written: tuple[str, ...]
    time_reconstructed: bool
    source: str
    mold: str | None = None
