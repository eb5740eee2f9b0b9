"""How long do charts of the values themselves run when the process is autoregressive of order one?

Values are in units of their total standard deviation: ``x' = phi x + sqrt(1 - phi^2) e``. The first value is
drawn from the settled process, moved by the shift.

Source: Maragah and Woodall (1992) for the setting, Brook and Evans (1972) for the chain, Lucas (1982) for
two charts at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import LinearOperator, gmres
from scipy.special import ndtr

from rules.run_length.integral import LONGEST, bounded, check_shift, density, first_of, gauss

__all__ = ["combined_ar1_arl", "cusum_ar1_arl", "individuals_ar1_arl", "variance_ratio"]

FloatArray = NDArray[np.float64]
REACH = 5.5  # the chain covers values to 5.5 sigma; 4e-8 of all lie beyond
FEWEST_CELLS = 16
SLOWEST = 0.8  # above this the chain grows large, and time scaling from here errs by 0.7 % at most


def variance_ratio(phi: float) -> float:
    """Return how much faster than for independent values an AR(1) sum spreads: ``(1+phi)/(1-phi)``."""
    return (1.0 + phi) / (1.0 - phi)


def individuals_ar1_arl(*, width: float, phi: float, shift: float = 0.0) -> float:
    """Return the average run length of an individuals chart of AR(1) values.

    Parameters
    ----------
    width : float
        Distance of the limits from center in total sigma, above zero.
    phi : float
        Autocorrelation at lag 1, between -0.99 and 0.99.
    shift : float
        Distance of the process mean from center, in total sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    ``L(x) = 1 + integral over the limits of L(y) f(y | x) dy`` on Gauss-Legendre points.

    References
    ----------
    Maragah, H. D. and Woodall, W. H. (1992). The effect of autocorrelation on the retrospective X-chart.
    J. Statistical Computation and Simulation 40, 29-42 (the setting).
    """
    _check_phi(phi)
    check_shift(shift)
    if not (math.isfinite(width) and width > 0.0):
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    spread = math.sqrt(1.0 - phi * phi)
    # Sizes in steps of 16, so that nearly equal widths share their points.
    nodes, weights = gauss(16 * math.ceil(3 + 10 * width / spread / 16), -width, width)
    expected = shift + phi * (nodes - shift)
    kernel = weights * density((nodes - expected[:, None]) / spread) / spread
    lengths = np.linalg.solve(np.eye(len(nodes)) - kernel, np.ones(len(nodes)))
    return bounded(float(1.0 + (weights * density(nodes - shift)) @ lengths))


def cusum_ar1_arl(*, k: float, h: float, phi: float, shift: float = 0.0) -> float:
    """Return the zero-state average run length of a two-sided tabular CUSUM of AR(1) values.

    Parameters
    ----------
    k, h : float
        Reference value and decision interval in total sigma, above zero.
    phi : float
        Autocorrelation at lag 1, between -0.99 and 0.99.
    shift : float
        Distance of the process mean from center, in total sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    Value and sum lie on one lattice, so a chain over both is exact but for the lattice, whose error falls
    with the square of its step and is taken out by comparing two steps. The rates of the two sums are added.
    Above phi = 0.8 the sum is so slow that only the time scale matters: ``h`` and run length are scaled by
    ``(1+phi)/(1-phi)`` from phi = 0.8.

    References
    ----------
    Brook, D. and Evans, D. A. (1972). An approach to the probability distribution of cusum run length.
    Biometrika 59, 539-549 (the chain; here with the value as a second coordinate).
    """
    _check_phi(phi)
    check_shift(shift)
    _check_cusum(k, h)
    stretch = variance_ratio(phi) / variance_ratio(SLOWEST) if phi > SLOWEST else 1.0
    return bounded(stretch * _two_sided(k, h / stretch, min(phi, SLOWEST), shift, math.inf))


def combined_ar1_arl(*, width: float, k: float, h: float, phi: float, shift: float = 0.0) -> float:
    """Return the run length of an individuals chart and a CUSUM of the same AR(1) values, watched together.

    Parameters
    ----------
    width : float
        Individuals limits in total sigma, above zero.
    k, h : float
        Two-sided tabular CUSUM in total sigma, above zero.
    phi : float
        Autocorrelation at lag 1, between -0.99 and 0.99.
    shift : float
        Distance of the process mean from center, in total sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal of either chart; infinity above 1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    The chain of :func:`cusum_ar1_arl` holds the value beside the sum, so that a value beyond its limit ends
    the run as well. The upper limit goes with the upper sum, the lower one with the lower sum, and the two
    rates are added. Above phi = 0.8 the run length of the CUSUM is scaled in time and joined with that of the
    limit as if each signaled on its own. They often do so together: simulated runs at phi from 0.81 to 0.95
    were up to 1.6 times as long for shifts of 1 to 4 sigma.

    References
    ----------
    Lucas, J. M. (1982). Combined Shewhart-CUSUM quality control schemes. J. Quality Technology 14, 51-59.
    """
    _check_phi(phi)
    check_shift(shift)
    _check_cusum(k, h)
    if phi > SLOWEST:
        return _either(
            cusum_ar1_arl(k=k, h=h, phi=phi, shift=shift),
            individuals_ar1_arl(width=width, phi=phi, shift=shift),
        )
    if not width > 0.0:
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    return bounded(_two_sided(k, h, phi, shift, width))


def _either(one: float, other: float) -> float:
    """Mean run until one of two charts signals, each by its own chance at every value: never below 1."""
    rates = 1.0 / one, 1.0 / other
    rate = sum(rates) - rates[0] * rates[1]
    return 1.0 / rate if rate > 0.0 else math.inf


def _two_sided(k: float, h: float, phi: float, shift: float, width: float) -> float:
    """Add the rates of both sides; the far one only where it can be told from zero."""
    upper = _one_sided(k, h, phi, abs(shift), width)
    if shift == 0.0:
        return upper / 2.0
    # The far side signals exp(-4 shift h / ratio) times as often: next to nothing is left out.
    if 4.0 * abs(shift) * h / variance_ratio(phi) >= 16.0:
        return upper
    return first_of(upper, _one_sided(k, h, phi, -abs(shift), width))


def _check_cusum(k: float, h: float) -> None:
    if not (math.isfinite(k) and k > 0.0 and math.isfinite(h) and h > 0.0):
        raise ValueError(f"k is {k} and h is {h}; give both above 0, in sigma.")


def _check_phi(phi: float) -> None:
    if not -0.99 <= phi <= 0.99:
        raise ValueError(f"phi is {phi}; give an autocorrelation between -0.99 and 0.99.")


@lru_cache(maxsize=1024)
def _one_sided(k: float, h: float, phi: float, shift: float, width: float = math.inf) -> float:
    """Run length of the upper sum with an upper limit of the values, the lattice error taken out."""
    if math.isinf(width) and 2.0 * (k - shift) * h / variance_ratio(phi) > math.log(LONGEST):
        return math.inf  # the chance of ever getting there is exp(-2 (k - shift) h / ratio), Siegmund (1985)
    chain = _Chain(k, h, phi, shift, width)
    cells = max(FEWEST_CELLS, math.ceil(h / (0.8 * chain.spread)))
    coarse, fine = chain.length(cells), chain.length(cells + cells // 2)
    coarse_error, fine_error = (cells + 0.5) ** -2, (cells + cells // 2 + 0.5) ** -2
    return bounded((fine * coarse_error - coarse * fine_error) / (coarse_error - fine_error))


@dataclass(frozen=True, slots=True)
class _Chain:
    """The upper sum and the value beside it, on a lattice; a value beyond ``width`` ends the run."""

    k: float
    h: float
    phi: float
    shift: float
    width: float

    @property
    def spread(self) -> float:
        """Standard deviation of a value, given the one before."""
        return math.sqrt(1.0 - self.phi * self.phi)

    def length(self, cells: int) -> float:
        """Solve the chain with ``cells`` steps from zero to h (the last one half)."""
        step = self.h / (cells + 0.5)
        lowest = math.floor((self.shift - REACH - self.k) / step)
        highest = min(cells, math.ceil((self.shift + REACH - self.k) / step))
        jumps = np.arange(lowest, highest + 1)
        values = self.k + step * jumps
        expected = self.shift + self.phi * (values - self.shift)
        onward = np.ascontiguousarray(self._chances(values, step, expected[:, None], self.spread).T)
        sums = np.arange(cells + 1)[:, None] + jumps
        inside = sums <= cells
        source = np.where(inside, np.maximum(sums, 0), 0) * len(jumps) + np.arange(len(jumps))

        def remaining(lengths: FloatArray) -> FloatArray:
            """What is left of the run after the next value, given that value."""
            return np.asarray(lengths.ravel()[source] * inside, dtype=np.float64)

        size = source.size
        operator = LinearOperator(
            (size, size), matvec=lambda v: v.ravel() - (remaining(v) @ onward).ravel(), dtype=np.float64
        )
        solved, failed = gmres(operator, np.ones(size), rtol=1e-9, restart=200, maxiter=1)
        if failed:  # only where the run length is beyond double precision
            return math.inf
        first = self._chances(values, step, np.array([self.shift]), 1.0)
        return float(1.0 + remaining(solved)[0] @ first)

    def _chances(
        self, values: NDArray[np.floating], step: float, expected: NDArray[np.floating], spread: float
    ) -> FloatArray:
        """Probability of each lattice value, none beyond the limit.

        The last cell inside the limit is set so that the chance of a value beyond it is exact, however coarse
        the lattice.
        """
        chances = density((values - expected) / spread) * (step / spread)
        inside = int(np.searchsorted(values, self.width, side="right"))
        if inside < len(values):
            chances[..., inside:] = 0.0
            below = ndtr((self.width - expected[..., 0]) / spread)
            chances[..., inside - 1] += below - chances.sum(axis=-1)
        return chances
