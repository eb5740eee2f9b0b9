"""A floor that goes on for ever, with a fault now and then."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta

import numpy as np

from simulator.faults import Episode
from simulator.floor import post, run_name
from simulator.line import Line
from simulator.records import SimRecord
from simulator.scenarios.cases import ROTATION, known
from simulator.scenarios.times import FIRST_STANDING, HOUR, merged, utc
from simulator.spans import Span, Standing


def live(
    seed: int,
    start: datetime,
    *,
    presses: int = 2,
    standing: Mapping[str, Standing] | None = None,
    first_run: int = 413,
    warm: bool = True,
    first_fault_after_s: float = 1200.0,
) -> Iterator[SimRecord]:
    """Go on around the clock, for ever, with a fault of two hours now and then.

    Parameters
    ----------
    seed : int
    start : datetime
        Aware; the first cycle of every press begins here.
    presses : int
        P1 to P`presses`.
    standing : mapping of str to Standing, optional
        Last counter and tray of each press, so that numbers go on.
    first_run : int
        Number of P1's new run; the other presses take the next ones.
    warm : bool
        The presses were running before, so nothing starts up; False makes startup shots first.
    first_fault_after_s : float
        When the first fault begins, on P2: a coolant line of the core clogs.

    Yields
    ------
    SimShot or SimEvent
        In time order. `live_episodes` with the same arguments tells what goes wrong.
    """
    begin, places = utc(start), standing or {}

    def records(number: int) -> Iterator[SimRecord]:
        episodes = live_episodes(seed, begin, presses=presses, first_fault_after_s=first_fault_after_s)
        place = post(number)
        standing_there = places.get(place.press, FIRST_STANDING)
        line = Line(place, seed=seed, episodes=episodes, standing=standing_there)
        return line.records([Span(start=begin, run=run_name(first_run + number - 1), warm=warm)])

    return merged(records(number) for number in range(1, presses + 1))


def live_episodes(
    seed: int, start: datetime, *, presses: int = 2, first_fault_after_s: float = 1200.0
) -> Iterator[Episode]:
    """Faults of a live floor, one after another, two hours each with one to three sound hours between."""
    rng = np.random.default_rng([seed, 0])
    begin = utc(start) + timedelta(seconds=first_fault_after_s)
    yield _episode("blocked_coolant_core", min(2, presses), begin)
    while True:
        for index in rng.permutation(len(ROTATION)):
            begin += timedelta(hours=2 + round(float(rng.uniform(1, 3)), 2))
            yield _episode(ROTATION[index], int(rng.integers(1, presses + 1)), begin)


def _episode(fault: str, number: int, begin: datetime) -> Episode:
    case = known(fault, post(number))
    return Episode(fault=fault, press=f"P{number}", start=begin, end=begin + 2 * HOUR, case=case)
