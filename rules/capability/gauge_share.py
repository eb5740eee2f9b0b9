"""How much better is the process than the gauge lets it look?

References
----------
ISO 22514-7:2021, Statistical methods in process management - Capability and performance - Part 7: Capability
of measurement processes (observed against actual capability).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import chdtri

from rules.capability.spread import Spread
from rules.dome.welch import Interval

__all__ = ["GaugeShare", "without_gauge"]

LARGE = 0.3  # share of the variance from which the gauge decides what is seen; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeShare:
    """The gauge's part in the overall spread.

    Parameters
    ----------
    sigma : float
        Of one reading by the gauge alone, taken as known.
    share : float
        Of the variance of the values; above 1 where the gauge alone would spread more.
    process_sigma : float or None
        What is left for the process; None where nothing is.
    pp, ppk : Interval or None
        Corrected; a bound may be infinite. None where nothing is left, or with one limit (pp).
    notes : tuple of str
    """

    sigma: float
    share: float
    process_sigma: float | None
    pp: Interval | None
    ppk: Interval | None
    notes: tuple[str, ...]


def without_gauge(
    spread: Spread, gauge_sigma: float, pp: Interval | None, ppk: Interval, confidence: float
) -> GaugeShare:
    """Return the indices that a perfect gauge would have shown.

    Parameters
    ----------
    spread : Spread
        Of the values as read.
    gauge_sigma : float
        Zero or more.
    pp, ppk : Interval
        As read.
    confidence : float
        Of the intervals.

    Returns
    -------
    GaugeShare

    Notes
    -----
    Variances of process and gauge add. A bound is corrected with the bound of the observed sigma that goes
    with it; the error of the gauge's own sigma is left out.

    References
    ----------
    ISO 22514-7:2021.
    """
    share = (gauge_sigma / spread.sigma) ** 2
    if share >= 1.0:
        note = "The gauge alone would spread as much as these values; they say nothing about the process."
        return GaugeShare(
            sigma=gauge_sigma, share=share, process_sigma=None, pp=None, ppk=None, notes=(note,)
        )
    tail = (1.0 - confidence) / 2.0
    low, high = (
        spread.sigma * math.sqrt(spread.freedom / float(chdtri(spread.freedom, q)))
        for q in (tail, 1.0 - tail)
    )
    sigmas = (low, spread.sigma, high)
    notes = (
        (f"The gauge makes {100.0 * share:.0f} % of the variance; the process is better than it looks.",)
        if share >= LARGE
        else ()
    )
    return GaugeShare(
        sigma=gauge_sigma, share=share, process_sigma=spread.sigma * math.sqrt(1.0 - share),
        pp=None if pp is None else _corrected(pp, sigmas, gauge_sigma),
        ppk=_corrected(ppk, sigmas, gauge_sigma), notes=notes,
    )  # fmt: skip


def _corrected(index: Interval, sigmas: tuple[float, float, float], gauge: float) -> Interval:
    """A larger index goes with a smaller sigma; below zero it is the other way round."""
    low, middle, high = sigmas
    return Interval(
        _scaled(index.estimate, middle, gauge),
        _scaled(index.low, high if index.low >= 0.0 else low, gauge),
        _scaled(index.high, low if index.high >= 0.0 else high, gauge),
    )


def _scaled(index: float, sigma: float, gauge: float) -> float:
    left = 1.0 - (gauge / sigma) ** 2
    return index / math.sqrt(left) if left > 0.0 else math.copysign(math.inf, index)
