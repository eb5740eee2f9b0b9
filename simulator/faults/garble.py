"""What a sensor or gateway does to records, as data; `simulator.data_faults` does it."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["stuck", "zero", "coarse", "scaled", "fahrenheit", "counter", "clock", "twice", "late", "lost"]


@dataclass(frozen=True, slots=True)
class Garble:
    """One way of spoiling records.

    Attributes
    ----------
    kind : str
        "stuck", "zero", "coarse", "scaled" and "fahrenheit" change values; "counter" and "clock" change what
        orders them; "twice", "late" and "lost" change what arrives when.
    keys : tuple of str
        Values it changes.
    size : float
        Step of "coarse", factor of "scaled", first number of "counter", seconds of "clock", "twice" and
        "late"; a "late" of 0 s is handed in when the case is no longer at work.
    chance : float
        Share of the messages that it meets.
    """

    kind: Kind
    keys: tuple[str, ...] = ()
    size: float = 0.0
    chance: float = 1.0
