"""How an instance is drawn: small helpers that read well in the faults."""

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from simulator.health import PerZone

MINUTE_S = 60.0
HOUR_S = 3600.0

_T = TypeVar("_T")


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Evenly between two bounds."""
    return float(rng.uniform(low, high))


def stretched(rng: np.random.Generator, low: float, high: float) -> float:
    """Between two bounds, evenly in the logarithm, as sizes and times that span decades are."""
    return math.exp(float(rng.uniform(math.log(low), math.log(high))))


def one_of(rng: np.random.Generator, options: Sequence[_T]) -> _T:
    """One of some options, each as likely."""
    return options[int(rng.integers(len(options)))]


def chance(rng: np.random.Generator, share: float) -> bool:
    """True in this share of the instances."""
    return bool(rng.random() < share)


def spells(
    rng: np.random.Generator, *, at_work_s: tuple[float, float], between_s: tuple[float, float]
) -> tuple[float, ...]:
    """Twenty spells at work with pauses between, each of another length."""
    lengths = ((at_work_s, between_s) for _ in range(20))
    return tuple(stretched(rng, *bounds) for pair in lengths for bounds in pair)


def in_zone(zone: int, value: float, others: PerZone) -> PerZone:
    """One zone's value beside the usual ones of the others; zones count from the hopper, from 0."""
    return tuple(value if number == zone else other for number, other in enumerate(others))
