"""A large machine's temperature that wanders, with four known events: readings, alarms, and how they compare.

The readings and the windows of the events are public (MIT license) and found through EVENRUN_OUTSIDE. They
stay in the order in which they came. Twelve time stamps come twice, when the clock was set back by an hour:
each such reading counts as a reading of its own, and the step back as one step like any other.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from rules.baseline import Floor, PlannedChart, Study

FILE = "machine_temperature_system_failure.csv"
CYCLE_S = 300.0
READINGS_PER_DAY = 288
BASELINE_DAYS = 7  # all the whole days before the first event's window
QUIET = 20  # readings inside that end an alarm, as the service joins signals
TENTH = datetime(2013, 12, 10)  # noqa: DTZ001 (the stamps have no zone)
FLOOR = Floor(cycle_time_s=CYCLE_S)  # the default: ten characteristics share one false alarm a day


@dataclass(frozen=True)
class Machine:
    """Readings with their stamps, and the window of each known event."""

    stamps: list[datetime]
    values: np.ndarray
    windows: list[tuple[datetime, datetime]]


@dataclass(frozen=True)
class Outcome:
    """Alarms of one set of charts."""

    episodes: list[tuple[datetime, datetime]]
    signaling: float
    before_tenth: int
    seen: list[bool]
    outside: list[tuple[datetime, datetime]]


def read(outside: Path) -> Machine:
    """Read the machine and its events."""
    folder = outside / "data" / "machine-temperature"
    with (folder / FILE).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    windows = json.loads((folder / "combined_windows.json").read_text(encoding="utf-8"))[
        f"realKnownCause/{FILE}"
    ]
    return Machine(
        [datetime.fromisoformat(row["timestamp"]) for row in rows],
        np.array([float(row["value"]) for row in rows]),
        [(datetime.fromisoformat(first), datetime.fromisoformat(last)) for first, last in windows],
    )


def signals(charts: Sequence[PlannedChart], values: np.ndarray) -> np.ndarray:
    """Readings at which any of the charts signals."""
    met = np.zeros(len(values), dtype=bool)
    for planned in charts:
        _, track = planned.make().run(values)
        met[[index for index, _ in track.signals]] = True
    return met


def outcome(machine: Machine, met: np.ndarray, *, quiet: int = QUIET) -> Outcome:
    """Join signals into alarms: one ends when ``quiet`` readings in a row are inside."""
    places: list[list[int]] = []
    for place in np.flatnonzero(met):
        if places and place - places[-1][1] <= quiet:
            places[-1][1] = int(place)
        else:
            places.append([int(place), int(place)])
    episodes = [(machine.stamps[first], machine.stamps[last]) for first, last in places]

    def touches(episode: tuple[datetime, datetime], window: tuple[datetime, datetime]) -> bool:
        return episode[0] <= window[1] and episode[1] >= window[0]

    return Outcome(
        episodes,
        float(met.mean()),
        sum(first < TENTH for first, _ in episodes),
        [any(touches(each, window) for each in episodes) for window in machine.windows],
        [each for each in episodes if not any(touches(each, window) for window in machine.windows)],
    )


def plain(found: Study) -> tuple[PlannedChart, ...]:
    """What a textbook would draw: three sigma from moving ranges, for the values and for their ranges."""
    center, sigma = found.baseline.center, found.spread.moving_range
    return (
        PlannedChart("individuals", {"center": center, "sigma": sigma}),
        PlannedChart("moving_range", {"sigma": sigma}),
    )
