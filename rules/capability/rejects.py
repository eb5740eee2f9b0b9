"""How many discs in a million lie out of tolerance, seen and to be expected?

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2 (fractions
nonconforming from indices).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.special import ndtr

from rules.dome.proportion import wilson
from rules.dome.welch import Interval

__all__ = ["MILLION", "Rejects", "expected", "reject_ppm"]

MILLION = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejects:
    """Parts per million out of tolerance.

    Parameters
    ----------
    below, above : Interval or None
        To be expected of a normal distribution beyond each limit; None where there is none.
    total : Interval
        Both together; its confidence is at least the one asked for.
    seen : Interval
        Of the values themselves, with Wilson's interval.
    """

    below: Interval | None
    above: Interval | None
    total: Interval
    seen: Interval


def reject_ppm(lower: float | None, upper: float | None) -> float:
    """Return parts per million beyond the limits of a normal distribution with these one-sided indices.

    Parameters
    ----------
    lower, upper : float or None
        Cpl (Ppl) and Cpu (Ppu); None where there is no limit.

    Returns
    -------
    float
    """
    return MILLION * sum(float(ndtr(-3.0 * index)) for index in (lower, upper) if index is not None)


def expected(
    lower: float | None,
    upper: float | None,
    *,
    interval: Callable[[float, float], Interval],
    confidence: float,
    seen: tuple[int, int],
) -> Rejects:
    """Return expected and seen rejects.

    Parameters
    ----------
    lower, upper : float or None
        One-sided indices.
    interval : callable
        From a one-sided index and a confidence to its interval.
    confidence : float
        Between 0 and 1.
    seen : (int, int)
        Values out of tolerance, and all values.

    Returns
    -------
    Rejects
    """
    sided = {index: _beyond(interval(index, confidence)) for index in (lower, upper) if index is not None}
    # Both sides wrong at once is no likelier than either: halving the risk of each keeps that of the sum.
    joint = 1.0 - (1.0 - confidence) / 2.0 if None not in (lower, upper) else confidence
    parts = [_beyond(interval(index, joint)) for index in (lower, upper) if index is not None]
    high = min(math.fsum(p.high for p in parts), MILLION)  # no more than all of them
    total = Interval(reject_ppm(lower, upper), math.fsum(p.low for p in parts), high)
    return Rejects(
        below=None if lower is None else sided[lower], above=None if upper is None else sided[upper],
        total=total, seen=wilson(*seen, confidence).times(MILLION),
    )  # fmt: skip


def _beyond(index: Interval) -> Interval:
    estimate, high, low = (
        MILLION * float(ndtr(-3.0 * each)) for each in (index.estimate, index.low, index.high)
    )
    return Interval(estimate, low, high)
