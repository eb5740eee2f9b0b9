"""MEWMA limits for estimated mean and covariance, against baselines drawn again and again."""

import numpy as np
import pytest
from scipy import stats

from rules.baseline.joint import JointBaseline, joint_baseline
from rules.baseline.joint_widening import widened_mewma_limit
from rules.run_length import mewma_limit


def drawn_baselines(count, rows, p, rng):
    """Mean vectors and inverse Cholesky factors of covariances of so many independent baselines."""
    x = rng.standard_normal((count, rows, p))
    off = x - x.mean(axis=1, keepdims=True)
    covariance = np.matmul(off.transpose(0, 2, 1), off) / (rows - 1)
    return x.mean(axis=1), np.linalg.inv(np.linalg.cholesky(covariance))


def false_alarms(limit, r, means, factors, rng, *, shots):
    """Signals a shot, over all baselines, each chart starting anew after a signal."""
    average, signals = np.zeros(means.shape), 0
    for _ in range(shots):
        average = r * (rng.standard_normal(means.shape) - means) + (1 - r) * average
        parts = np.matmul(factors, average[:, :, None])[:, :, 0]
        out = (2 - r) / r * (parts**2).sum(axis=1) > limit
        signals += out.sum()
        average[out] = 0.0
    return signals / (len(means) * shots)


@pytest.mark.parametrize(("p", "rows", "r"), [(3, 100, 0.1), (6, 300, 0.1), (3, 100, 0.3)])
def test_the_mean_false_alarm_rate_over_baselines_is_about_what_was_asked(p, rows, r):
    rng = np.random.default_rng(51)
    means, factors = drawn_baselines(800, rows, p, rng)
    baseline = joint_baseline(rng.standard_normal((rows, p)), "abcdef"[:p])
    widened, known = widened_mewma_limit(baseline, r=r, arl=200.0), mewma_limit(columns=p, r=r, arl=200.0)
    found = 200.0 * false_alarms(widened, r, means, factors, rng, shots=1500)
    blind = 200.0 * false_alarms(known, r, means, factors, rng, shots=1500)
    assert 0.85 < found < 1.05
    assert blind > 1.25


def test_without_memory_it_is_the_phase_two_limit_of_t2():
    baseline = joint_baseline(np.random.default_rng(52).standard_normal((50, 3)), "abc")
    # Tracy, Young and Mason (1992) at alpha 0.0027, p = 3, m = 50.
    assert widened_mewma_limit(baseline, r=1.0, arl=1 / 0.0027) == pytest.approx(17.3600180541, rel=1e-9)


def test_known_parameters_need_no_widening_and_long_baselines_hardly_any():
    known = mewma_limit(columns=2, r=0.1, arl=200.0)
    parts = {"names": ("a", "b"), "center": (0.0, 0.0), "covariance": ((1.0, 0.0), (0.0, 1.0))}
    given = JointBaseline(**parts, n=0, freedom=0, method="given")
    assert widened_mewma_limit(given, r=0.1, arl=200.0) == known
    long = JointBaseline(**parts, n=10**6, freedom=10**6 - 1)
    assert widened_mewma_limit(long, r=0.1, arl=200.0) == pytest.approx(known, rel=1e-4)
    assert (
        stats.chi2.sf(known, 2) > 1 / 200.0
    )  # an average dwells beyond the limit, so it may be there more often
