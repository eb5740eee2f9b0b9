"""What does a baseline study hand to the charts? A center, a sigma, and how far both can be trusted.

Source: Bayley and Hammersley (1946) for what shots that are alike are worth.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

__all__ = [
    "FIRM_FROM",
    "PHI_CEILING",
    "SIGMA_METHODS",
    "USABLE_FROM",
    "Baseline",
    "Limits",
    "standing_of",
]

SIGMA_METHODS = ("moving_range", "total", "floor", "given")
USABLE_FROM = 100.0
FIRM_FROM = 300.0
PHI_CEILING = 0.99


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """Center and sigma of a steady process, with the evidence they rest on.

    Parameters
    ----------
    center, sigma : float
        Level and standard deviation the charts use, in the unit of the values; ``sigma`` is above zero.
    n : int
        Number of steady shots the study used; 0 where center and sigma were given.
    phi : float
        Autocorrelation at lag 1, clipped to [0, 0.99].
    sigma_method : str
        ``"moving_range"``, ``"total"`` (standard deviation of all values), ``"floor"`` (held up by the
        resolution of the values) or ``"given"`` (stated, not estimated).

    Raises
    ------
    ValueError
        If a value is not finite or outside the range stated above.
    """

    center: float
    sigma: float
    n: int
    phi: float = 0.0
    sigma_method: str = "moving_range"

    def __post_init__(self) -> None:
        """Refuse what no chart could be drawn from; clip phi."""
        if not math.isfinite(self.center):
            raise ValueError(f"The center of a baseline is {self.center}; give a finite number.")
        if not (math.isfinite(self.sigma) and self.sigma > 0):
            raise ValueError(f"The sigma of a baseline is {self.sigma}; give a number above zero.")
        if self.n < 0:
            raise ValueError(f"A baseline of {self.n} shots is impossible; give 0 or more.")
        if not math.isfinite(self.phi):
            raise ValueError(f"The autocorrelation of a baseline is {self.phi}; give a finite number.")
        if self.sigma_method not in SIGMA_METHODS:
            known = ", ".join(SIGMA_METHODS)
            raise ValueError(f"Sigma by {self.sigma_method!r} is unknown; use one of {known}.")
        object.__setattr__(self, "phi", min(max(self.phi, 0.0), PHI_CEILING))

    def effective_n(self) -> float:
        """Return how many independent shots tell as much about the center as these ``n`` do.

        Returns
        -------
        float
            ``n (1 - phi) / (1 + phi)``, for an autoregressive process of order one.

        References
        ----------
        Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
        autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197.
        """
        return self.n * (1.0 - self.phi) / (1.0 + self.phi)

    def standing(self) -> str:
        """Return how far limits from this baseline can be trusted.

        Returns
        -------
        str
            ``"provisional"`` below an effective size of 100, ``"usable"`` below 300, else ``"firm"``; a given
            sigma is ``"firm"``.
        """
        if self.sigma_method == "given":
            return "firm"
        return standing_of(self.effective_n())

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as a dictionary that JSON can carry."""
        return asdict(self)

    @classmethod
    def from_dict(cls, fields: dict[str, Any]) -> Baseline:
        """Build a baseline from what :meth:`to_dict` returned."""
        return cls(**fields)


def standing_of(effective_n: float) -> str:
    """Return ``"provisional"`` below an effective size of 100, ``"usable"`` below 300, else ``"firm"``."""
    if effective_n < USABLE_FROM:
        return "provisional"
    return "usable" if effective_n < FIRM_FROM else "firm"


@dataclass(frozen=True, slots=True)
class Limits:
    """Three horizontal lines of a chart, in the unit of its statistic."""

    lower: float
    center: float
    upper: float
