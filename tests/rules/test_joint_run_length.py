"""Run lengths of joint charts against published tables, closed forms and an independent simulation."""

import math

import numpy as np
import pytest
from scipy.stats import chi2, ncx2

from rules.run_length import ewma_arl, mewma_arl, mewma_limit, shift_size, t2_arl, t2_limit

# Prabhu and Runger (1997), J. Quality Technology 29, 8-15: limit H for a run length of 200, and run lengths
# at shifts 0, 0.5, 1, 1.5, 2 and 3 (from memory of the print; their Markov chain has few states, so the exact
# values differ by up to 1.4 %. The simulation below decides).
PRABHU_RUNGER = {
    (2, 0.05): (7.35, [199.93, 26.61, 11.23, 7.14, 5.28, 3.56]),
    (2, 0.1): (8.64, [199.98, 28.07, 10.15, 6.11, 4.42, 2.93]),
    (2, 0.2): (9.65, [199.91, 35.17, 10.20, 5.49, 3.78, 2.42]),
    (2, 0.4): (10.31, [199.83, 53.82, 13.26, 5.78, 3.53, 2.05]),
    (2, 0.8): (10.58, [200.20, 95.88, 28.65, 10.28, 4.79, 1.91]),
    (4, 0.1): (12.73, [200.12, 35.11, 12.17, 7.22, 5.19, 3.41]),
    (4, 0.3): (14.34, [200.05, 59.28, 14.81, 6.68, 4.20, 2.50]),
}
# The same source, limits alone (from memory).
LIMITS_FOR_200 = {
    6: {0.05: 14.60, 0.1: 16.27, 0.2: 17.51, 0.4: 18.26, 0.8: 18.54},
    10: {0.05: 20.72, 0.1: 22.67, 0.2: 24.07, 0.4: 24.89, 0.8: 25.17},
    15: {0.05: 27.82, 0.1: 30.03, 0.2: 31.59, 0.4: 32.48, 0.8: 32.79},
}
SHIFTS = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0]


def simulated(columns, r, limit, shift, *, runs, seed, exact=False):
    """Mean run length and its standard error by drawing every row, with nothing of the charts used."""
    rng = np.random.default_rng(seed)
    average, alive = np.zeros((runs, columns)), np.arange(runs)
    lengths, now = np.zeros(runs), 0
    while alive.size:
        now += 1
        row = rng.standard_normal((alive.size, columns))
        row[:, 0] += shift
        average = r * row + (1 - r) * average
        share = 1 - (1 - r) ** (2 * now) if exact else 1.0
        out = (2 - r) / r * (average**2).sum(axis=1) > limit * share
        lengths[alive[out]] = now
        alive, average = alive[~out], average[~out]
    return lengths.mean(), lengths.std(ddof=1) / math.sqrt(runs)


@pytest.mark.parametrize(("columns", "r"), PRABHU_RUNGER)
def test_the_mewma_has_the_run_lengths_of_prabhu_and_runger(columns, r):
    limit, table = PRABHU_RUNGER[columns, r]
    found = [mewma_arl(columns=columns, r=r, limit=limit, shift=shift) for shift in SHIFTS]
    np.testing.assert_allclose(found, table, rtol=0.014, atol=0.01)


@pytest.mark.parametrize("columns", LIMITS_FOR_200)
def test_the_limits_for_200_rows_are_those_of_prabhu_and_runger(columns):
    for r, limit in LIMITS_FOR_200[columns].items():
        assert mewma_limit(columns=columns, r=r, arl=200.0) == pytest.approx(limit, rel=0.002)


@pytest.mark.parametrize(
    ("columns", "r", "limit", "shift", "runs"),
    [
        (2, 0.1, 8.64, 0.0, 20_000),
        (2, 0.1, 8.64, 0.5, 60_000),
        (2, 0.1, 8.64, 1.0, 100_000),
        (4, 0.3, 14.34, 0.5, 40_000),
        (10, 0.1, 22.67, 1.0, 50_000),
        (3, 0.8, 13.0, 1.0, 50_000),
    ],
)
def test_run_lengths_agree_with_rows_drawn_one_by_one(columns, r, limit, shift, runs):
    mean, error = simulated(columns, r, limit, shift, runs=runs, seed=20261125)
    assert mewma_arl(columns=columns, r=r, limit=limit, shift=shift) == pytest.approx(mean, abs=3.5 * error)


def test_with_the_exact_covariance_a_limit_runs_shorter():
    # Lowry and others (1992), Technometrics 34, 46-53: with it h = 8.79 gives 200 (from memory of print).
    mean, error = simulated(2, 0.1, 8.79, 0.0, runs=30_000, seed=7, exact=True)
    assert mean == pytest.approx(200.0, abs=3.5 * error)
    assert mewma_arl(columns=2, r=0.1, limit=8.79) > 210.0


@pytest.mark.parametrize("columns", [2, 3, 7, 25])
@pytest.mark.parametrize("r", [0.05, 0.3, 0.9])
def test_one_coordinate_and_two_agree_where_the_shift_vanishes(columns, r):
    limit = mewma_limit(columns=columns, r=r, arl=370.4)
    assert mewma_arl(columns=columns, r=r, limit=limit) == pytest.approx(370.4, rel=1e-7)
    assert mewma_arl(columns=columns, r=r, limit=limit, shift=1e-9) == pytest.approx(370.4, rel=1e-7)


def test_a_mewma_of_one_characteristic_is_an_ewma():
    # Lucas and Saccucci (1990), Technometrics 32, 1-12: lambda 0.1, L 2.814 gives 500 and, at 1 sigma, 10.3.
    for shift, length in ((0.0, 500.0), (1.0, 10.3)):
        found = mewma_arl(columns=1, r=0.1, limit=2.814**2, shift=shift)
        assert found == ewma_arl(lam=0.1, width=2.814, shift=shift) == pytest.approx(length, rel=0.005)


def test_a_mewma_that_remembers_nothing_is_a_t2_chart():
    for shift in SHIFTS:
        t2 = t2_arl(columns=4, limit=14.0, shift=shift)
        assert mewma_arl(columns=4, r=1.0, limit=14.0, shift=shift) == t2
        assert mewma_arl(columns=4, r=1.0 - 1e-7, limit=14.0, shift=shift) == pytest.approx(t2, rel=1e-5)


@pytest.mark.parametrize("columns", [1, 2, 10, 40])
def test_t2_run_lengths_are_those_of_chi_square(columns):
    limit = t2_limit(columns=columns, arl=370.4)
    assert limit == pytest.approx(chi2.ppf(1 - 1 / 370.4, columns), rel=1e-10)
    assert t2_arl(columns=columns, limit=limit) == pytest.approx(370.4, rel=1e-10)
    assert t2_arl(columns=columns, limit=limit, shift=1.5) == pytest.approx(
        1 / (1 - ncx2.cdf(limit, columns, 2.25)), rel=1e-7
    )


def test_t2_of_one_characteristic_is_an_individuals_chart():
    # Three-sigma limits: 370.4 in control and 43.9 at 1 sigma (Montgomery, Introduction to SQC, any table).
    assert t2_arl(columns=1, limit=9.0) == pytest.approx(370.398, abs=0.001)
    assert t2_arl(columns=1, limit=9.0, shift=1.0) == pytest.approx(43.895, abs=0.001)


def test_long_run_lengths_stay_right_and_end_in_infinity():
    # At these limits the equations are nearly singular.
    for arl in (1e4, 1e7):
        limit = mewma_limit(columns=10, r=0.1, arl=arl)
        assert mewma_arl(columns=10, r=0.1, limit=limit) == pytest.approx(arl, rel=1e-6)
        mean, error = simulated(10, 0.1, limit, 1.5, runs=20_000, seed=5)
        assert mewma_arl(columns=10, r=0.1, limit=limit, shift=1.5) == pytest.approx(mean, abs=3.5 * error)
    assert math.isinf(mewma_arl(columns=2, r=0.1, limit=80.0))
    mean, error = simulated(2, 0.1, 80.0, 2.0, runs=20_000, seed=6)
    assert mewma_arl(columns=2, r=0.1, limit=80.0, shift=2.0) == pytest.approx(mean, abs=3.5 * error)
    assert math.isinf(t2_arl(columns=2, limit=1e5))


def test_a_shift_that_goes_against_the_relation_is_larger():
    # Correlation 0.9: 1 sigma in one alone is sqrt(1 / 0.19), in both together sqrt(2 / 1.9).
    covariance = [[4.0, 1.8], [1.8, 1.0]]
    assert shift_size(covariance, [2.0, 0.0]) == pytest.approx(math.sqrt(1 / 0.19))
    assert shift_size(covariance, [2.0, 1.0]) == pytest.approx(math.sqrt(2 / 1.9))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: t2_arl(columns=0, limit=9.0), "joint chart of 0 characteristics"),
        (lambda: t2_arl(columns=2, limit=0.0), "limit is 0.0; give a number above 0"),
        (lambda: t2_arl(columns=2, limit=9.0, shift=-1.0), "shift is -1.0; give a Mahalanobis"),
        (lambda: t2_limit(columns=2, arl=1.0), "run length of 1.0 is wanted"),
        (lambda: mewma_arl(columns=2, r=0.0, limit=9.0), "r is 0.0; give a weight"),
        (lambda: mewma_arl(columns=2, r=0.1, limit=math.nan), "limit is nan"),
        (lambda: mewma_limit(columns=2, r=0.1, arl=1e12), r"at most 1e\+09"),
        (lambda: shift_size([[1.0, 1.0], [1.0, 1.0]], [1.0, 0.0]), "covariance is singular"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(call, said):
    with pytest.raises(ValueError, match=said):
        call()
