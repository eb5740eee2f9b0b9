"""Which values can be reckoned with? One series of finite numbers, NaN where one is missing.

References
----------
IEEE 754-2019, Standard for Floating-Point Arithmetic (NaN and infinity); that NaN means missing is our own
convention.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["LARGEST", "LEAST_SPREAD", "InfiniteValue", "finite_series"]

LARGEST = 1e150  # the square of a larger value is infinite
LEAST_SPREAD = 1e-150  # the square of a smaller difference is zero


class InfiniteValue(ValueError):
    """A value is infinite, or so large that its square is, which no press measures."""


def finite_series(x: ArrayLike) -> NDArray[np.float64]:
    """Return ``x`` as an array of float64, shape (n,), NaN where missing.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        None and NaN are missing.

    Returns
    -------
    ndarray of float64, shape (n,)

    Raises
    ------
    InfiniteValue
        If a value is infinite, or beyond 1e150.
    ValueError
        If something is no number, or ``x`` is no single series.
    """
    try:
        values = np.asarray(x, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ValueError(f"A series needs numbers, NaN where one is missing: {exc}.") from exc
    if values.ndim != 1:
        raise ValueError(f"One series of values is needed; this array has {values.ndim} dimensions.")
    absurd = np.abs(values) > LARGEST
    if absurd.any():
        place = int(np.argmax(absurd))
        kind = "infinite" if np.isinf(values[place]) else f"{values[place]:g}, which is absurd"
        raise InfiniteValue(f"Value {place} is {kind}; leave it out or mark it missing.")
    return values
