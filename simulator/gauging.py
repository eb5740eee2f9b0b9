"""People who gauge discs: which ones, when, and with how much error.

The error of dome is mostly the disc rocking on the plate, contact and temperature, 0.05 to 0.15 mm in all
(common practice, no source). Every disc's error comes from its own press and counter, so asking again, or for
more discs, changes no reading already taken.
"""

import heapq
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from simulator.disc import diameter_at_mm, dome_at_mm
from simulator.floor import TRAY_SIZE
from simulator.records import SimGauging, SimRecord, SimShot

WEIGHT_DELAY_S = 120.0


@dataclass(frozen=True, slots=True)
class Gauge:
    """One measuring device: name, standard deviation of its error, and the step in which it reads."""

    name: str
    sigma: float
    decimals: int


GAUGES: dict[str, Gauge] = {
    "dome": Gauge("height gauge 1", 0.08, 2),
    "diameter": Gauge("caliper 2", 0.05, 2),
    "weight": Gauge("scale 1", 0.05, 1),
}


def gaugings(
    records: Iterable[SimRecord],
    seed: int,
    *,
    every: int = TRAY_SIZE,
    asked: Callable[[SimShot], bool] = lambda _shot: False,
    youngest_h: float = 24.0,
    oldest_h: float = 26.0,
) -> Iterator[SimGauging]:
    """Readings of a story's discs by the usual plan, in the order they are taken.

    Parameters
    ----------
    records : iterable of SimShot or SimEvent
        In time order; may be endless, then readings come as the story's time passes them.
    seed : int
        With press and counter it fixes every reading.
    every : int
        Each press's every so many-th disc is gauged.
    asked : callable
        Further discs to gauge, such as those on hold.
    youngest_h, oldest_h : float
        Age of a disc at its gauging, evenly between; it is weighed two minutes after the shot.

    Yields
    ------
    SimGauging
        Weight at once; dome and diameter a day later.
    """
    waiting: list[tuple[datetime, int, SimGauging]] = []
    serial = 0
    for record in records:
        if not isinstance(record, SimShot):
            continue
        if record.counter % every == 0 or asked(record):
            for reading in gauge_disc(record, seed, youngest_h=youngest_h, oldest_h=oldest_h):
                serial += 1
                heapq.heappush(waiting, (reading.gauged_at, serial, reading))
        while waiting and waiting[0][0] <= record.ended_at:
            yield heapq.heappop(waiting)[2]
    while waiting:
        yield heapq.heappop(waiting)[2]


def gauge_disc(
    shot: SimShot, seed: int, *, youngest_h: float = 24.0, oldest_h: float = 26.0
) -> tuple[SimGauging, ...]:
    """Weigh one disc, and gauge its dome and diameter when it has set; one thrown away has no readings."""
    if shot.truth.scrapped:
        return ()
    rng = np.random.default_rng([seed, int(shot.press[1:]), shot.counter])
    age_h = float(rng.uniform(youngest_h, oldest_h))
    truth, weighed_h = shot.truth, WEIGHT_DELAY_S / 3600
    dome_mm = dome_at_mm(fresh_mm=truth.fresh_dome_mm, final_24h_mm=truth.dome_24h_mm, age_h=age_h)
    diameter_mm = diameter_at_mm(
        fresh_mm=truth.fresh_diameter_mm, final_24h_mm=truth.diameter_24h_mm, age_h=age_h
    )
    return (
        _reading(shot, "weight", truth.weight_g, weighed_h, rng),
        _reading(shot, "dome", dome_mm, age_h, rng),
        _reading(shot, "diameter", diameter_mm, age_h, rng),
    )


def _reading(
    shot: SimShot, characteristic: str, true_value: float, age_h: float, rng: np.random.Generator
) -> SimGauging:
    gauge = GAUGES[characteristic]
    by_counter = int(shot.press[1:]) % 2 == 1  # at the other presses people write tray and position
    value = round(true_value + gauge.sigma * float(rng.standard_normal()), gauge.decimals)
    gauged_at = shot.ended_at + timedelta(seconds=round(age_h * 3600))
    return SimGauging(
        press=shot.press,
        run=shot.run,
        tray=shot.tray,
        tray_position=shot.tray_position,
        counter=shot.counter if by_counter else None,
        characteristic=characteristic,
        value=value,
        gauged_at=gauged_at,
        age_h=(gauged_at - shot.ended_at).total_seconds() / 3600,
        gauge=gauge.name,
        who="operator 1" if gauged_at.hour < 14 else "operator 2",
    )
