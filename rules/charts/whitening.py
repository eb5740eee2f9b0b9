"""Whitening: what is new in a value whose neighbors resemble it, as independent values of spread 1?

A first-order autoregressive characteristic keeps the share ``phi`` of its deviation to the next shot. What
the shot before does not explain is its one-step forecast error; divided by its standard deviation it is an
independent N(0, 1) value, which any chart for independent values can take.

References
----------
Alwan, L. C. and Roberts, H. V. (1988). Time-series modeling for statistical process control. J. Business &
Economic Statistics 6, 87-95.
Box, G. E. P. and Jenkins, G. M. (1976). Time Series Analysis: Forecasting and Control, rev. ed., chapter 5
(forecasts several steps ahead). Holden-Day.
ISO 7870-9:2020, Control charts - Part 9: Control charts for stationary processes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rules.charts.chart import FloatArray

__all__ = ["Predecessor", "Whitening"]


@dataclass(frozen=True, slots=True)
class Predecessor:
    """The last known deviation from center, and how many shots before the next one it was.

    Without a known value so far there is no deviation.
    """

    deviation: float | None = None
    shots_back: int = 0


@dataclass(frozen=True, slots=True)
class Whitening:
    """First-order autoregressive model of a characteristic.

    Parameters
    ----------
    center, sigma : float
        Level and total standard deviation of the values, in their unit.
    phi : float
        Autocorrelation at lag 1, above -1 and below 1.
    """

    center: float
    sigma: float
    phi: float

    def step(self, before: Predecessor, x: float) -> tuple[Predecessor, float]:
        """Take one value; return what the next one is forecast from, and the whitened value (NaN: missing).

        Notes
        -----
        From ``m`` shots back the forecast is ``phi^m`` of that deviation, and its error has the variance
        ``sigma^2 (1 - phi^(2 m))``. The first value has no forecast but the center.
        """
        if not math.isfinite(x):
            return _missed(before, 1), math.nan
        deviation = x - self.center
        after = Predecessor(deviation, 1)
        if before.deviation is None:
            return after, deviation / self.sigma
        kept, scale = self.forecast(before.shots_back)
        return after, (deviation - kept * before.deviation) / scale

    def run(self, values: FloatArray, before: Predecessor) -> tuple[Predecessor, FloatArray]:
        """Take many values, NaN where missing; equal to folding :meth:`step` over them, bit for bit.

        Parameters
        ----------
        values : ndarray of float64, shape (n,)
        before : Predecessor

        Returns
        -------
        Predecessor, ndarray of float64, shape (n,)
        """
        known = np.flatnonzero(~np.isnan(values))
        if known.size == 0:
            return _missed(before, values.size), values.copy()
        whole = known.size == values.size
        deviations = (values if whole else values[known]) - self.center
        white = self._errors(deviations)
        self._mend_gaps(white, deviations, known)
        white[0] = self.step(before if known[0] == 0 else _missed(before, int(known[0])), values[known[0]])[1]
        after = Predecessor(float(deviations[-1]), values.size - int(known[-1]))
        return after, white if whole else _placed(white, known, values.size)

    def lasting_mean(self, shift: float) -> float:
        """Return the mean of the whitened values while the values stay ``shift`` off center.

        Parameters
        ----------
        shift : float
            In the unit of the values.

        Returns
        -------
        float
            ``shift (1 - phi) / (sigma sqrt(1 - phi^2))``: the forecast follows the shift and takes ``phi`` of
            it away. Only the first whitened value after the change has ``1 - phi`` replaced by 1.
        """
        return shift * (1.0 - self.phi) / self.forecast(1)[1]

    def forecast(self, shots_back: int) -> tuple[float, float]:
        """Return the share of the deviation that is forecast, and the standard deviation of the error."""
        kept = self.phi**shots_back
        return kept, self.sigma * math.sqrt(1.0 - kept * kept)

    def _errors(self, deviations: FloatArray) -> FloatArray:
        """Return each value's error, as if each followed the one before it directly; the first is not set."""
        kept, scale = self.forecast(1)
        errors = np.empty(deviations.size)
        np.multiply(deviations[:-1], kept, out=errors[1:])
        np.subtract(deviations[1:], errors[1:], out=errors[1:])
        errors[1:] /= scale
        return errors

    def _mend_gaps(self, white: FloatArray, deviations: FloatArray, known: np.ndarray) -> None:
        """Compute again, in place, the values that follow missing ones."""
        if known[-1] - known[0] + 1 == known.size:
            return
        back = np.diff(known)
        after_gap = 1 + np.flatnonzero(back > 1)
        for shots_back in np.unique(back[after_gap - 1]).tolist():
            here = after_gap[back[after_gap - 1] == shots_back]
            kept, scale = self.forecast(shots_back)
            white[here] = (deviations[here] - kept * deviations[here - 1]) / scale


def _missed(before: Predecessor, count: int) -> Predecessor:
    if before.deviation is None:
        return before
    return Predecessor(before.deviation, before.shots_back + count)


def _placed(white: FloatArray, known: np.ndarray, size: int) -> FloatArray:
    places = np.full(size, np.nan)
    places[known] = white
    return places
