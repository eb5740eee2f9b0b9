"""The statistics of the link from shot to disc, against published examples and scipy, statsmodels."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.api import OLS
from statsmodels.stats.proportion import proportion_confint

from rules.dome import effect, link, proportion, rank, skill, slope, welch

# Newcombe, R. G. (1998). Two-sided confidence intervals for the single proportion: comparison of seven
# methods. Statistics in Medicine 17, 857-872, table I (from memory; statsmodels agrees below).
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662)),
    (15, 148, (0.0624, 0.1605)),
    (0, 20, (0.0000, 0.1611)),
    (1, 29, (0.0061, 0.1718)),
]

# Hollander, M. and Wolfe, D. A. (1973). Nonparametric Statistical Methods, Wiley, table 4.1 (from memory):
# permeability of the human chorioamnion at term and at 12 to 26 weeks.
TERM = np.array([0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46])
EARLY = np.array([1.15, 0.88, 0.90, 0.74, 1.21])


def sample_with(mean: float, sd: float, n: int) -> np.ndarray:
    """Numbers whose mean and standard deviation are exactly those asked for."""
    x = np.arange(n, dtype=float)
    return mean + (x - x.mean()) / x.std(ddof=1) * sd


@pytest.mark.parametrize(("count", "n", "printed"), NEWCOMBE)
def test_proportion_intervals_are_those_printed_by_newcombe(count, n, printed):
    interval = proportion.wilson(count, n)
    assert (interval.low, interval.high) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
@pytest.mark.parametrize(("count", "n"), [(0, 3), (1, 3), (3, 3), (7, 40), (160, 161)])
def test_proportion_intervals_equal_statsmodels(count, n, confidence):
    interval = proportion.wilson(count, n, confidence)
    theirs = proportion_confint(count, n, alpha=1 - confidence, method="wilson")
    assert (interval.low, interval.high) == pytest.approx(theirs, abs=1e-9)


def test_a_proportion_of_nothing_is_refused():
    with pytest.raises(ValueError, match="3 of 0"):
        proportion.wilson(3, 0)
    with pytest.raises(ValueError, match="5 of 4"):
        proportion.wilson(5, 4)


def test_welch_gives_the_unequal_variance_result_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3, AUTO83B.DAT: means and standard deviations
    # of 249 and 79 cars, T = -12.94627 (figures from memory, they agree with one another).
    us, japan = sample_with(20.14458, 6.41470, 249), sample_with(30.48101, 6.10771, 79)
    interval = welch.mean_difference([(us, japan)])
    half = (interval.high - interval.low) / 2
    freedom = 136.8750
    assert interval.estimate == pytest.approx(20.14458 - 30.48101, abs=1e-6)
    assert interval.estimate / (half / stats.t.ppf(0.975, freedom)) == pytest.approx(-12.94627, abs=2e-4)


def test_one_run_equals_scipys_welch_interval():
    rng = np.random.default_rng(5)
    a, b = rng.normal(2.5, 0.4, 13), rng.normal(2.0, 0.1, 31)
    theirs = stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.9)
    ours = welch.mean_difference([(a, b)], 0.9)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_the_interval_of_a_mean_equals_scipys():
    x = np.random.default_rng(4).normal(2.5, 0.4, 13)
    ours = welch.mean(x, 0.9)
    theirs = stats.ttest_1samp(x, 0.0).confidence_interval(0.9)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    with pytest.raises(ValueError, match="at least two"):
        welch.mean(x[:1])


def test_runs_of_different_level_are_compared_each_with_itself():
    rng = np.random.default_rng(6)
    pairs = [(rng.normal(level + 0.5, 0.1, 8), rng.normal(level, 0.1, n)) for level, n in ((2, 20), (9, 4))]
    ours = welch.mean_difference(pairs)
    assert ours.low < 0.5 < ours.high
    assert ours.high - ours.low < 0.3


def test_the_interval_over_runs_covers_as_often_as_it_says():
    rng = np.random.default_rng(7)
    covered = 0
    for _ in range(1000):
        pairs = [(rng.normal(0.3, 0.3, 6), rng.normal(0.0, 0.1, n)) for n in (5, 12, 30)]
        interval = welch.mean_difference(pairs)
        covered += interval.low < 0.3 < interval.high
    assert proportion.wilson(covered, 1000, 0.999).high > 0.95
    assert covered / 1000 < 0.98


def test_ranks_give_the_estimate_and_interval_of_hollander_and_wolfe():
    # The same source, sections 4.2 and 4.3: estimate 0.305, interval (-0.15, 0.76) (from memory).
    interval = rank.location_difference([(TERM, EARLY)])
    assert (interval.estimate, interval.low, interval.high) == pytest.approx((0.305, -0.15, 0.76), abs=1e-9)


@pytest.mark.parametrize(("n", "m"), [(1, 1), (3, 5), (8, 8), (15, 30), (40, 40)])
def test_rank_sum_distribution_gives_scipys_exact_p_values(n, m):
    chances = rank.rank_sum_distribution([(n, m)])
    assert chances.sum() == pytest.approx(1, abs=1e-12)
    x = np.random.default_rng(n * m).permutation(n + m)
    result = stats.mannwhitneyu(x[:n], x[n:], alternative="less", method="exact")
    assert chances[: int(result.statistic) + 1].sum() == pytest.approx(result.pvalue, rel=1e-9)


def test_two_runs_add_their_rank_sums():
    both = rank.rank_sum_distribution([(3, 4), (2, 5)])
    one, other = rank.rank_sum_distribution([(3, 4)]), rank.rank_sum_distribution([(2, 5)])
    brute = np.zeros(len(both))
    for i, p in enumerate(one):
        for j, q in enumerate(other):
            brute[i + j] += p * q
    assert both == pytest.approx(brute, abs=1e-14)


def test_three_and_three_discs_cannot_give_a_rank_interval_of_95_percent():
    assert rank.location_difference([(np.arange(3.0), np.arange(3.0) + 9)]) is None


def test_slope_within_one_run_equals_scipys_regression():
    rng = np.random.default_rng(8)
    x = rng.normal(40, 1, 30)
    y = 2 + 0.2 * x + rng.normal(0, 0.1, 30)
    ours, theirs = slope.within_runs(x, y, ["R"] * 30), stats.linregress(x, y)
    assert (ours.estimate, ours.error) == pytest.approx((theirs.slope, theirs.stderr), rel=1e-10)


def test_slope_within_runs_equals_regression_with_a_dummy_for_each_run():
    rng = np.random.default_rng(9)
    runs = np.repeat([0, 1, 2], 12)
    x = rng.normal(40, 1, 36) + 5 * runs
    y = -3.0 * runs + 0.2 * x + rng.normal(0, 0.1, 36)
    fit = OLS(y, np.column_stack([x, *(runs == r for r in range(3))]).astype(float)).fit()
    ours = slope.within_runs(x, y, list(runs))
    assert (ours.estimate, ours.error) == pytest.approx((fit.params[0], fit.bse[0]), rel=1e-9)
    low, high = fit.conf_int(0.05)[0]
    assert (ours.interval(0.95).low, ours.interval(0.95).high) == pytest.approx((low, high), rel=1e-9)


def test_below_the_smallest_counts_there_is_a_reason_and_no_number():
    few = link.compare([2.0] * 4 + [1.0] * 50, [True] * 4 + [False] * 50, ["R"] * 54)
    assert (few.certainty, few.interval, few.method) == ("none", None, None)
    assert few.reasons == ("4 flagged of at least 5 gauged",)


def test_between_five_and_ten_discs_ranks_are_used_and_from_ten_means():
    rng = np.random.default_rng(10)
    for n, method in ((9, "ranks"), (10, "means")):
        values = np.concatenate([rng.normal(3, 0.1, n), rng.normal(2, 0.1, 30)])
        found = link.compare(values, [True] * n + [False] * 30, ["R"] * (n + 30))
        assert (found.method, found.certainty) == (method, "clear")


def test_no_difference_is_said_as_weak_with_the_reason():
    values = np.concatenate([sample_with(2.0, 0.2, 12), sample_with(2.0, 0.2, 20)])
    found = link.compare(values, [True] * 12 + [False] * 20, ["R"] * 32)
    assert (found.certainty, found.reasons) == ("weak", ("the interval holds zero",))


def test_flagged_and_unflagged_discs_of_different_runs_are_never_clear():
    values = np.concatenate([sample_with(3.0, 0.2, 12), sample_with(2.0, 0.2, 20)])
    found = link.compare(values, [True] * 12 + [False] * 20, ["R1"] * 12 + ["R2"] * 20)
    assert found.certainty == "weak"
    assert "different runs" in found.reasons[0]


def test_a_run_with_one_kind_only_is_left_out_of_the_comparison_and_counted():
    values = np.concatenate([sample_with(3, 0.2, 12), sample_with(2, 0.2, 20), sample_with(9, 0.2, 15)])
    runs = ["R1"] * 32 + ["R2"] * 15
    found = link.compare(values, [True] * 12 + [False] * 35, runs)
    assert (found.runs, found.left_out, found.unflagged) == (1, 15, 20)
    assert found.interval.estimate == pytest.approx(1.0)


def test_the_gauges_share_of_the_spread_is_its_variance_over_the_variance_within_groups():
    values = np.concatenate([sample_with(3, 0.2, 12), sample_with(2, 0.2, 20)])
    found = link.compare(values, [True] * 12 + [False] * 20, ["R"] * 32, gauge_sigma=0.1)
    assert found.gauge_share == pytest.approx(0.25)


def test_a_reading_that_is_not_a_number_is_refused():
    with pytest.raises(ValueError, match="not a number"):
        link.compare([1.0, float("nan")], [True, False], ["R", "R"])


def test_effects_come_largest_first_and_what_did_not_move_says_so():
    rng = np.random.default_rng(11)
    core, cushion = rng.normal(40, 1, 60), rng.normal(5, 0.2, 60)
    dome = 2 + 0.3 * (core - 40) + rng.normal(0, 0.1, 60)
    found = effect.effects(dome, {"cushion": cushion, "core": core, "timer": np.full(60, 36.0)}, ["R"] * 60)
    assert [e.key for e in found] == ["core", "cushion", "timer"]
    assert [e.certainty for e in found] == ["clear", "weak", "none"]
    assert found[0].slope.low < 0.3 < found[0].slope.high
    assert found[2].reasons == ("it did not move within the runs",)


def test_an_effect_that_only_one_look_would_call_clear_is_weak_among_many():
    x = sample_with(0.0, 1.0, 40)
    noise = np.tile([1.0, -1.0, -1.0, 1.0], 10)
    y = 0.4 * x + noise
    alone = effect.effects(y, {"x": x}, ["R"] * 40)[0]
    many = effect.effects(y, {"x": x} | {f"o{i}": noise for i in range(11)}, ["R"] * 40)
    among = next(e for e in many if e.key == "x")
    assert alone.certainty == "clear"
    assert (among.certainty, among.slope) == ("weak", alone.slope)
    assert "by chance" in among.reasons[0]


def test_too_few_discs_give_no_effect():
    found = effect.effects(np.arange(11.0), {"x": np.arange(11.0)}, ["R"] * 11)[0]
    assert (found.certainty, found.slope, found.reasons) == (
        "none",
        None,
        ("11 of at least 12 discs gauged",),
    )


def test_readings_near_a_limit_are_undecided_by_the_gauges_sigma():
    values = [1.0, 2.95, 3.0, 3.05, 3.3]
    assert skill.out_of_tolerance(values, low=None, high=3.0) == [False, False, False, True, True]
    judged = skill.out_of_tolerance(values, low=None, high=3.0, gauge_sigma=0.05)
    assert judged == [False, None, None, None, True]


def test_without_a_tolerance_nothing_is_judged():
    with pytest.raises(ValueError, match="without a tolerance"):
        skill.out_of_tolerance([1.0], low=None, high=None)


def test_skill_counts_hits_misses_false_calls_and_hours():
    flagged = [True] * 6 + [False] * 2 + [True] * 3 + [False] * 9 + [True]
    out = [True] * 8 + [False] * 12 + [None]
    lead = [24.0, 25.0, 30.0, None, 40.0, 26.0] + [25.0] * 15
    found = skill.assess(flagged, out, lead)
    assert (found.hits, found.misses, found.false_calls, found.quiet, found.undecided) == (6, 2, 3, 9, 1)
    assert found.lead_h == (24.0, 26.0, 40.0)
    theirs = proportion_confint(6, 8, method="wilson")
    assert (found.foretold.interval.low, found.foretold.interval.high) == pytest.approx(theirs)
    assert found.false.n == 9


def test_skill_of_too_few_discs_is_a_reason_and_no_number():
    found = skill.assess([True, True], [True, False], [24.0, 24.0])
    assert (found.foretold.interval, found.false.interval) == (None, None)
    assert found.foretold.reason == "1 of at least 5 discs out of tolerance"
