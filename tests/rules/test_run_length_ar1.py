"""Run lengths and false alarm rates of charts on autocorrelated values, exact, simulated and estimated."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import norm

from rules.baseline import lag_one, moving_range_sigma
from rules.baseline.spread import total_sigma
from rules.charts import make
from rules.run_length import cusum_ar1_arl, cusum_arl, individuals_ar1_arl
from tests import outside

# False alarms a value with limits at 3 average moving ranges / d2, moving ranges known; computed by a
# simulation of 20,000 series of 500 values (a second program), with its standard error: phi, rate, error.
RAW_SIMULATION = [
    (0.0, 0.0027141, 1.640934e-05),
    (0.25, 0.0093769, 3.099041e-05),
    (0.5, 0.0339041, 6.533807e-05),
    (0.75, 0.1335716, 0.0001765319),
    (0.9, 0.3431753, 0.0003727722),
]


@pytest.fixture(scope="session")
def reference() -> dict[str, Any]:
    return outside.entries()


def _series(rng: np.random.Generator, phi: float, rows: int, values: int) -> np.ndarray:
    """Settled AR(1) series of total sigma one, one a row."""
    noise = rng.standard_normal((rows, values))
    noise[:, 1:] *= math.sqrt(1 - phi * phi)
    return np.asarray(lfilter([1.0], [1.0, -phi], noise, axis=1))


@pytest.mark.parametrize(("phi", "rate", "error"), RAW_SIMULATION)
def test_moving_range_limits_cry_wolf_as_often_as_a_simulation_says(
    phi: float, rate: float, error: float
) -> None:
    """Moving ranges see sqrt(1 - phi) of sigma; cf. Maragah and Woodall (1992)."""
    sigma = math.sqrt(1 - phi)
    chart = make("individuals", {"center": 0.0, "sigma": sigma})
    x = _series(np.random.default_rng(51), phi, 300, 500)
    alarms = np.array([len(chart.run(row)[1].signals) for row in x]) / x.shape[1]
    ours = alarms.std(ddof=1) / math.sqrt(alarms.size)

    assert 2 * norm.sf(3 * sigma) == pytest.approx(rate, abs=4 * error)
    assert alarms.mean() == pytest.approx(rate, abs=4 * math.hypot(error, ours))


def test_residuals_cry_wolf_as_often_as_independent_values(reference: dict[str, Any]) -> None:
    entry = reference["ar1.ichart.known.rawmc"]
    for i, phi in enumerate(entry["inputs"]["phi"]):
        rate, error = entry["expected"]["FAR_resid"][i], entry["expected"]["se_resid"][i]
        chart = make("residual", {"center": 0.0, "sigma": 1.0, "phi": phi, "chart": "individuals"})
        x = _series(np.random.default_rng(52), phi, 300, 500)
        alarms = np.array([len(chart.run(row)[1].signals) for row in x]) / x.shape[1]
        ours = alarms.std(ddof=1) / math.sqrt(alarms.size)
        assert alarms.mean() == pytest.approx(rate, abs=4 * math.hypot(error, ours)), phi
        assert (phi, entry["expected"]["FAR_mr"][i], entry["expected"]["se"][i]) == RAW_SIMULATION[i]


def test_estimated_limits_cry_wolf_as_often_as_the_reference_says(reference: dict[str, Any]) -> None:
    """Mean rate over baselines of m values; the rate of each baseline is exact, so few are needed."""
    rng = np.random.default_rng(53)
    for phi, by_size in reference["ar1.phase1.estimated"]["expected"].items():
        for m, expected in by_size.items():
            x = _series(rng, float(phi), 500, int(m))
            for kind, rates in _rates(x, float(phi)).items():
                error = math.hypot(expected[kind]["se"], rates.std(ddof=1) / math.sqrt(rates.size))
                assert rates.mean() == pytest.approx(expected[kind]["mean"], abs=4 * error), (phi, m, kind)


def _rates(x: np.ndarray, phi: float) -> dict[str, np.ndarray]:
    """Later false alarms a value with limits from each row: by moving range, by spread, of residuals."""
    center = x.mean(axis=1)
    estimated = np.array([lag_one(row).r for row in x])
    residuals = x[:, 1:] - estimated[:, None] * x[:, :-1]
    later = np.sqrt(1 - phi * phi + (phi - estimated) ** 2)
    by_range, of_residuals = (np.array([moving_range_sigma(row) for row in rows]) for rows in (x, residuals))
    return {
        "mr": _beyond(center, by_range, 1.0),
        "sd": _beyond(center, np.array([total_sigma(row) for row in x]), 1.0),
        "resid": _beyond(residuals.mean(axis=1), of_residuals, later),
    }


def _beyond(center: np.ndarray, sigma: np.ndarray, true_sigma: float | np.ndarray) -> np.ndarray:
    """Chance that a normal value around zero lies beyond three sigma of center."""
    high, low = norm.sf((center + 3 * sigma) / true_sigma), norm.cdf((center - 3 * sigma) / true_sigma)
    return np.asarray(high + low)


def test_individuals_of_autocorrelated_values_match_the_reference(reference: dict[str, Any]) -> None:
    """Moving-range limits shrink with sqrt(1 - phi), cf. Maragah and Woodall (1992)."""
    entry = reference["ar1.ichart.known"]
    for i, phi in enumerate(entry["inputs"]["phi"]):
        total = individuals_ar1_arl(width=3.0, phi=phi)
        moving_range = individuals_ar1_arl(width=3.0 * math.sqrt(1.0 - phi), phi=phi)
        assert total == pytest.approx(entry["expected"]["ARL0_sd_limits"][i], rel=1e-8)
        assert moving_range == pytest.approx(entry["expected"]["ARL0"][i], rel=1e-8)


@pytest.mark.parametrize("shift", [0.0, 0.5, 1.0, 2.0])
def test_cusum_of_autocorrelated_values_is_the_usual_one_at_phi_zero(shift: float) -> None:
    assert cusum_ar1_arl(k=0.5, h=5.0, phi=0.0, shift=shift) == pytest.approx(
        cusum_arl(k=0.5, h=5.0, shift=shift), rel=1e-3
    )


@pytest.mark.parametrize(
    ("phi", "h", "shift"),
    [(-0.3, 3.0, 0.0), (0.3, 9.0, 0.0), (0.6, 12.0, 0.5), (0.9, 40.0, 1.0), (0.95, 80.0, 1.0)],
)
def test_cusum_of_autocorrelated_values_matches_a_simulation(phi: float, h: float, shift: float) -> None:
    mean, error = _simulated(k=0.5, h=h, phi=phi, shift=shift, runs=4000, seed=11)

    assert cusum_ar1_arl(k=0.5, h=h, phi=phi, shift=shift) == pytest.approx(mean, abs=3.5 * error, rel=0.01)


def test_what_signals_practically_never_is_infinite() -> None:
    assert cusum_ar1_arl(k=0.5, h=200.0, phi=0.3) == math.inf
    assert individuals_ar1_arl(width=9.0, phi=0.3) == math.inf


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: individuals_ar1_arl(width=3.0, phi=1.0), "phi is 1.0"),
        (lambda: cusum_ar1_arl(k=0.5, h=math.inf, phi=0.5), "h is inf"),
    ],
)
def test_what_cannot_be_computed_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def _simulated(*, k: float, h: float, phi: float, shift: float, runs: int, seed: int) -> tuple[float, float]:
    """Mean run length and its standard error of many series side by side, by the definition of the charts."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(runs)
    upper, lower, length = np.zeros(runs), np.zeros(runs), np.zeros(runs)
    going, step = np.arange(runs), 0
    while going.size:
        step += 1
        if step > 1:
            x = phi * x + math.sqrt(1 - phi * phi) * rng.standard_normal(going.size)
        upper = np.maximum(0.0, upper + x + shift - k)
        lower = np.maximum(0.0, lower - x - shift - k)
        out = (upper > h) | (lower > h)
        length[going[out]] = step
        going, x, upper, lower = going[~out], x[~out], upper[~out], lower[~out]
    return float(length.mean()), float(length.std(ddof=1) / math.sqrt(runs))
