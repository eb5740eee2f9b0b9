"""Do skewed values fit the tolerance? What indices by quantiles are, from wherever the quantiles come.

Six sigma of a normal process hold 99.73 %; for any other shape the same share lies between its 0.135 % and
99.865 % quantiles, and these take the place of six sigma, the median that of the mean.

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2 (general
geometric method).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rules.capability.specification import Specification
from rules.dome.welch import Interval
from rules.plain_record import plain

__all__ = ["SHARES", "QuantileCapability", "QuantileIndices", "check_confidence", "indices_of"]

SHARES = (0.00135, 0.5, 0.99865)  # of a normal distribution below mean - 3 sigma, mean, mean + 3 sigma


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantileCapability:
    """Indices by quantiles.

    Parameters
    ----------
    n : int
    method : str
        ``'ordered values'`` or the name of the family.
    lower_quantile, median, upper_quantile : Interval
        0.135 %, 50 % and 99.865 % quantiles in the unit of the values; a bound may be infinite.
    pp : Interval or None
        None with one limit.
    ppl, ppu : float or None
        One-sided.
    ppk : Interval
        The smaller; a bound may be infinite.
    rejects_ppm : Interval
        Seen (ordered values) or to be expected (family), parts per million.
    fit_p : float or None
        Chance of lying so far from the family by accident; None for ordered values.
    phi : float
        Autocorrelation at lag 1 that the intervals of a family reckon with.
    confidence : float
    notes : tuple of str
    """

    n: int
    method: str
    lower_quantile: Interval
    median: Interval
    upper_quantile: Interval
    pp: Interval | None
    ppl: float | None
    ppu: float | None
    ppk: Interval
    rejects_ppm: Interval
    fit_p: float | None
    phi: float
    confidence: float
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values that JSON can carry."""
        held: dict[str, Any] = plain(self)
        return held


@dataclass(frozen=True, slots=True)
class QuantileIndices:
    """Indices of three quantiles; None where there is no limit."""

    pp: float | None
    ppl: float | None
    ppu: float | None

    @property
    def ppk(self) -> float:
        """The smaller of the one-sided indices."""
        return min(index for index in (self.ppl, self.ppu) if index is not None)


def indices_of(specification: Specification, low: float, median: float, high: float) -> QuantileIndices:
    """Return the indices of a process with these 0.135 %, 50 % and 99.865 % quantiles.

    Parameters
    ----------
    specification : Specification
    low, median, high : float
        Rising, in its unit.

    Returns
    -------
    QuantileIndices

    References
    ----------
    ISO 22514-2:2017.
    """
    width = specification.width
    return QuantileIndices(
        pp=None if width is None else width / (high - low),
        ppl=None if specification.low is None else (median - specification.low) / (median - low),
        ppu=None if specification.high is None else (specification.high - median) / (high - median),
    )


def check_confidence(confidence: float) -> None:
    """Raise ValueError for a confidence out of range."""
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")
