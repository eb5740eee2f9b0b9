"""How often a flag foretold a disc out of tolerance, how often it cried wolf, and how early it came.

A reading so near a tolerance limit that the gauge may have put it on the wrong side decides nothing;
with a gauge study such discs are counted apart (the guard band of JCGM 106:2012, clause 8).

The smallest counts are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rules.dome.proportion import wilson
from rules.dome.welch import Interval

FEWEST = 5  # discs a proportion is stated of
COVERAGE = 1.96  # of a normal distribution, 95 % within


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A proportion with its interval, or the reason why there is none."""

    count: int
    n: int
    interval: Interval | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Skill:
    """What flags were worth.

    Attributes
    ----------
    hits, misses, false_calls, quiet : int
        Discs flagged and out, out but not flagged, flagged but within, neither.
    undecided : int
        Discs too near a limit for this gauge; in none of the other counts.
    foretold : Rate
        Of the discs out of tolerance, those flagged.
    false : Rate
        Of the flagged discs, those within tolerance.
    lead_h : tuple of (float, float, float) or None
        Shortest, median and longest time from the shot to the gauging that found a hit out, h.
    """

    hits: int
    misses: int
    false_calls: int
    quiet: int
    undecided: int
    foretold: Rate
    false: Rate
    lead_h: tuple[float, float, float] | None


def out_of_tolerance(
    values: npt.ArrayLike, *, low: float | None, high: float | None, gauge_sigma: float | None = None
) -> list[bool | None]:
    """Judge readings: out (True), within (False), or too near a limit for the gauge (None).

    Parameters
    ----------
    values : array-like of float
    low, high : float or None
        Tolerance limits; a reading on a limit is within.
    gauge_sigma : float, optional
        Standard deviation of one reading; None takes readings as exact.

    Raises
    ------
    ValueError
        When there is no limit at all.
    """
    if low is None and high is None:
        raise ValueError("without a tolerance nothing is in or out; set one for the mold in the settings")
    x = np.asarray(values, dtype=float)
    bottom = -np.inf if low is None else low
    top = np.inf if high is None else high
    outside = np.maximum(bottom - x, x - top)
    band = COVERAGE * (gauge_sigma or 0.0)
    return [None if band and abs(d) < band else bool(d > 0) for d in outside]


def assess(
    flagged: Sequence[bool], out: Sequence[bool | None], lead_h: Sequence[float | None], *,
    confidence: float = 0.95,
) -> Skill:  # fmt: skip
    """Count what flags foretold.

    Parameters
    ----------
    flagged : sequence of bool, length n
    out : sequence of bool or None, length n
        From `out_of_tolerance`.
    lead_h : sequence of float or None, length n
        Hours from the shot to its gauging, None when not known.
    confidence : float

    Returns
    -------
    Skill

    Raises
    ------
    ValueError
        When the lengths differ.
    """
    if not len(flagged) == len(out) == len(lead_h):
        raise ValueError(f"{len(flagged)} flags, {len(out)} verdicts and {len(lead_h)} times do not match")
    pairs = [(bool(f), o) for f, o in zip(flagged, out, strict=True) if o is not None]
    hits, misses = pairs.count((True, True)), pairs.count((False, True))
    false_calls, quiet = pairs.count((True, False)), pairs.count((False, False))
    leads = [t for f, o, t in zip(flagged, out, lead_h, strict=True) if f and o and t is not None]
    return Skill(
        hits=hits, misses=misses, false_calls=false_calls, quiet=quiet, undecided=len(out) - len(pairs),
        foretold=_rate(hits, hits + misses, "out of tolerance", confidence),
        false=_rate(false_calls, hits + false_calls, "flagged", confidence),
        lead_h=(min(leads), float(np.median(leads)), max(leads)) if leads else None,
    )  # fmt: skip


def _rate(count: int, n: int, what: str, confidence: float) -> Rate:
    if n < FEWEST:
        return Rate(count=count, n=n, interval=None, reason=f"{n} of at least {FEWEST} discs {what}")
    return Rate(count=count, n=n, interval=wilson(count, n, confidence), reason="")
