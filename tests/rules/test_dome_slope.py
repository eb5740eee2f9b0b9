"""The slope of disc against shot, held against a certified straight line.

NIST Statistical Reference Datasets, linear regression, Norris (strd.lin.Norris): calibration of a gas
monitor, certified to 15 digits. The other data sets there have many predictors or powers of one, which
nothing here fits.
"""

import numpy as np
import pytest
from scipy.stats import t

from rules.dome.slope import within_runs

X = [
    0.2,
    337.4,
    118.2,
    884.6,
    10.1,
    226.5,
    666.3,
    996.3,
    448.6,
    777,
    558.2,
    0.4,
    0.6,
    775.5,
    666.9,
    338,
    447.5,
    11.6,
    556,
    228.1,
    995.8,
    887.6,
    120.2,
    0.3,
    0.3,
    556.8,
    339.1,
    887.2,
    999,
    779,
    11.1,
    118.3,
    229.2,
    669.1,
    448.9,
    0.5,
]
Y = [
    0.1,
    338.8,
    118.1,
    888,
    9.2,
    228.1,
    668.5,
    998.5,
    449.1,
    778.9,
    559.2,
    0.3,
    0.1,
    778.1,
    668.8,
    339.3,
    448.9,
    10.8,
    557.7,
    228.3,
    998,
    888.8,
    119.6,
    0.3,
    0.6,
    557.6,
    339.3,
    888,
    998.5,
    778.9,
    10.2,
    117.6,
    228.9,
    668.4,
    449.2,
    0.2,
]
SLOPE, ERROR = 1.002116818020454, 0.0004297968481999369


def test_slope_and_its_error_are_the_certified_ones() -> None:
    fitted = within_runs(np.array(X), np.array(Y), ["one run"] * len(X))

    assert fitted is not None
    assert fitted.estimate == pytest.approx(SLOPE, rel=1e-12)
    assert fitted.error == pytest.approx(ERROR, rel=1e-10)
    assert fitted.freedom == 34
    half = t(34).ppf(0.975) * ERROR
    assert fitted.interval(0.95).high == pytest.approx(SLOPE + half, rel=1e-12)


def test_runs_on_levels_of_their_own_have_the_same_slope() -> None:
    """The same calibration on two monitors that read apart: slope kept, error less by sqrt(34 / 69)."""
    twice, apart = np.array(X * 2), np.array(Y + [y + 500.0 for y in Y])

    fitted = within_runs(twice, apart, ["a"] * len(X) + ["b"] * len(X))

    assert fitted is not None
    assert fitted.estimate == pytest.approx(SLOPE, rel=1e-12)
    assert fitted.error == pytest.approx(ERROR * (34 / 69) ** 0.5, rel=1e-10)
