"""What must a disc measure? Tolerance limits that a customer or a drawing sets, and the target between them.

References
----------
ISO 3534-2:2006, Statistics - Vocabulary and symbols - Part 2: Applied statistics, 3.1 (specification,
tolerance).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.figures import written

__all__ = ["Specification"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Specification:
    """Limits of one characteristic, one or two, in its unit. Never to be taken for control limits.

    Parameters
    ----------
    low, high : float or None
        None where there is no limit on that side.
    target : float or None
        The wanted value; only Cpm needs it.
    """

    low: float | None = None
    high: float | None = None
    target: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that hold nothing."""
        for name in ("low", "high", "target"):
            value = getattr(self, name)
            if value is not None and not math.isfinite(value):
                raise ValueError(
                    f"The {name} of the specification is {value}; give a number or leave it out."
                )
        if self.low is None and self.high is None:
            raise ValueError("A specification without a limit holds everything; give a low or a high limit.")
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise ValueError(
                f"The low limit {written(self.low, 6)} is not below the high limit {written(self.high, 6)}; "
                "swap them."
            )

    @property
    def width(self) -> float | None:
        """High minus low limit; None for a one-sided specification."""
        return None if self.low is None or self.high is None else self.high - self.low

    def outside(self, value: float) -> bool:
        """Whether a value lies beyond a limit; on it is within."""
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)
