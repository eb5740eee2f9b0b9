"""What a shop that knew everything would say of its shots: which a fault touched, which discs are out of
tolerance because of one, and which a perfect observer would hold. The service never reads it.

Definitions
-----------
Touched: a fault was at work in the shot or in its message, or had left something behind (a warm mold, hot
melt) that still moves dome by more than `LEFT_BEHIND_MM`.

Out of tolerance: the disc was not scrapped at the press, its dome after 24 h is outside of the tolerance, and
without any fault, under the same chance, it would have been inside.

Perfect hold: of every press, from the first disc that is out of tolerance to the last, with every shot
between, scrapped ones and those inside the tolerance too; but where more than `APART` shots in a row lie
between two such discs, a perfect observer lets them go and begins another hold.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from simulator.records import SimShot

LEFT_BEHIND_MM = 0.02
APART = 24  # one tray


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Allowed dome after 24 h, mm; the bounds are inside."""

    low: float
    high: float

    def holds(self, dome_mm: float) -> bool:
        """Whether a dome is inside."""
        return self.low <= dome_mm <= self.high


@dataclass(frozen=True, slots=True)
class Interval:
    """Shots of one press from one true counter to another, both inside."""

    press: str
    first: int
    last: int

    def __contains__(self, shot: SimShot) -> bool:
        """Whether a shot belongs to it, whatever the press's own counter said."""
        return shot.press == self.press and self.first <= shot.truth.counter <= self.last

    def __len__(self) -> int:
        """How many shots it has."""
        return self.last - self.first + 1


def is_touched(shot: SimShot) -> bool:
    """Whether a fault was at work in the shot or its message, or what one left behind."""
    truth = shot.truth
    return bool(truth.faults) or abs(truth.dome_24h_mm - truth.sound_dome_24h_mm) > LEFT_BEHIND_MM


def touched(shots: Iterable[SimShot]) -> list[SimShot]:
    """Shots that a fault touched, in the order given."""
    return [shot for shot in shots if is_touched(shot)]


def is_out(shot: SimShot, tolerance: Tolerance) -> bool:
    """Whether a disc that left the press is out of tolerance because of a fault."""
    truth = shot.truth
    return (
        not truth.scrapped
        and not tolerance.holds(truth.dome_24h_mm)
        and tolerance.holds(truth.sound_dome_24h_mm)
    )


def out_of_tolerance(shots: Iterable[SimShot], tolerance: Mapping[str, Tolerance]) -> list[SimShot]:
    """Discs out of tolerance because of a fault, in the order given.

    Parameters
    ----------
    shots : iterable of SimShot
        Every shot once.
    tolerance : mapping of str to Tolerance
        By press.
    """
    return [shot for shot in shots if is_out(shot, tolerance[shot.press])]


def perfect_hold(
    shots: Iterable[SimShot], tolerance: Mapping[str, Tolerance], *, apart: int = APART
) -> list[Interval]:
    """What a perfect observer would hold.

    Parameters
    ----------
    shots : iterable of SimShot
        Every shot once, those of a press in order.
    tolerance : mapping of str to Tolerance
        By press.
    apart : int
        Most shots inside the tolerance that one hold bridges.

    Returns
    -------
    list of Interval
        In the order in which they begin.
    """
    holds: list[Interval] = []
    latest: dict[str, int] = {}
    for shot in out_of_tolerance(shots, tolerance):
        counter, press = shot.truth.counter, shot.press
        place = latest.get(press)
        if place is not None and counter - holds[place].last - 1 <= apart:
            holds[place] = Interval(press, holds[place].first, counter)
        else:
            latest[press] = len(holds)
            holds.append(Interval(press, counter, counter))
    return holds
