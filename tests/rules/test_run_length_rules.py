"""Run lengths of run rules: exact chains against the published table, and against counting by hand."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import chi2, geom, norm

from rules.run_length import (
    ZoneRule,
    alternating_arl,
    alternating_run_length,
    individuals_arl,
    individuals_run_length,
    mixed,
    simulated_individuals_arl,
    trend_arl,
    trend_run_length,
    zone_arl,
    zone_run_length,
    zone_steady_arl,
)
from rules.run_length.mixed import mixed_run_length
from rules.run_rules import RULES, RunRule, apply, named
from tests import outside


def read_table(text: str) -> dict[str, list[float]]:
    """Read a table whose rows begin with their name."""
    rows = (row.split() for row in text.strip().splitlines())
    return {name: [float(value) for value in values] for name, *values in rows}


SHIFTS = [0, 0.2, 0.4, 0.6, 0.8, 1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.4, 2.6, 2.8, 3]
# Champ and Woodall (1987), Technometrics 29, 393-399: the rules T(k, m, a, b) of their Table 1.
CHAMP_WOODALL = {
    "1": ZoneRule(1, 1, 3.0),
    "2": ZoneRule(2, 3, 2.0, 3.0),
    "3": ZoneRule(4, 5, 1.0, 3.0),
    "4": ZoneRule(8, 8, 0.0, 3.0),
    "5": ZoneRule(2, 2, 2.0, 3.0),
    "6": ZoneRule(5, 5, 1.0, 3.0),
    "7": ZoneRule(1, 1, 3.09),
    "8": ZoneRule(2, 3, 1.96, 3.09),
    "9": ZoneRule(8, 8, 0.0, 3.09),
}
# Their Table 1 as printed (from memory of the print), the rules that are watched together as digits.
PRINTED = read_table(
    """
    1    370.4 308.43 200.08 119.67 71.55 43.89 27.82 18.25 12.38 8.69 6.3 4.72 3.65 2.9 2.38 2
    12   225.44 177.56 104.46 57.92 33.12 20.01 12.81 8.69 6.21 4.66 3.65 2.96 2.48 2.13 1.87 1.68
    13   166.05 120.7 63.88 33.99 19.78 12.66 8.84 6.62 5.24 4.33 3.68 3.18 2.78 2.43 2.14 1.89
    14   152.73 110.52 59.76 33.64 21.07 14.58 10.9 8.6 7.03 5.85 4.89 4.08 3.38 2.81 2.35 1.99
    123  132.89 97.86 52.93 28.7 16.93 10.95 7.68 5.76 4.54 3.73 3.14 2.7 2.35 2.07 1.85 1.67
    1234 91.75 66.8 36.61 20.9 13.25 9.22 6.89 5.41 4.41 3.68 3.13 2.7 2.35 2.07 1.85 1.67
    """
)
# The other columns of the table, recomputed by a second program with another chain (raw histories).
RECOMPUTED = read_table(
    """
    15   278.045 222.589 134.17 75.2701 42.9622 25.6122 16.0608 10.6047 \
         7.36207 5.35817 4.07297 3.21986 2.63542 2.22335 1.92509 1.70397
    16   349.388 279.539 165.485 89.0666 48.3992 27.7369 17.0528 11.2779 \
         7.97661 5.97122 4.67502 3.78422 3.13616 2.64241 2.25511 1.94829
    124  122.051 89.1417 48.7111 27.4891 17.1442 11.7258 8.60676 6.63286 \
         5.27112 4.2678 3.50215 2.91426 2.46679 2.1287 1.87244 1.6757
    134  105.783 76.0108 40.946 23.1558 14.621 10.1875 7.65757 6.07997 \
         5.01412 4.24226 3.64994 3.17306 2.77424 2.43257 2.13795 1.88645
    1456 133.206 96.3744 51.9424 29.0056 17.9429 12.1921 8.90339 6.83728 \
         5.42447 4.39284 3.6097 3.00671 2.54224 2.18526 1.91083 1.69918
    7    499.609 412.007 262.184 153.863 90.4095 54.554 34.0276 21.9696 \
         14.6814 10.1496 7.25391 5.35524 4.08002 3.20444 2.59129 2.15451
    78   239.713 185.464 106.146 57.804 32.7489 19.706 12.6229 8.58153 \
         6.16083 4.64375 3.65288 2.98092 2.5092 2.16716 1.91149 1.71494
    79   170.408 120.865 63.7968 35.4595 22.0933 15.2608 11.4223 9.05297 \
         7.44257 6.2361 5.25258 4.40777 3.67381 3.05005 2.54027 2.14011
    789  126.168 91.1842 49.1899 27.5732 17.1426 11.7087 8.59094 6.62303 \
         5.26908 4.27455 3.51802 2.93862 2.49806 2.16474 1.91106 1.71488
    """
)
# Each of the eight rules of Nelson (1984), J. Quality Technology 16, 237-239, alone, at these shifts;
# recomputed by a second program, for zones with raw histories, for order with relative ranks.
ALONE_SHIFTS = [0, 0.5, 1, 1.5, 2, 3]
ALONE = read_table(
    """
    1                     370.3983473 155.2242008 43.89468172 14.96768501 6.302962987 1.999999996
    2                     511 86.32444095 23.53567946 12.92064177 10.11534724 9.0610473
    3                     421.598626 421.598626 421.598626 421.598626 421.598626 421.598626
    4                     601.007804 601.007804 601.007804 601.007804 601.007804 601.007804
    5                     510.6885144 129.5841889 27.87546025 9.451516778 4.666666628 2.407837529
    6                     291.319248 61.3963144 15.48880969 7.276218316 5.048550636 4.098362421
    7                     963.2715441 3094.495808 126041.0471 88956109.85 1.32793593e+12 4.616329182e+24
    8                     14251.36662 4062.055014 373.6563788 55.61885789 18.64032477 8.88389132
    8_both_sides_required 14342.29559 5004.869944 1131.821721 668.1262889 1175.922013 31997.67163
    """
)
ZONE_NAMES = ("beyond_limit", "same_side", "two_of_three", "four_of_five", "hugging", "avoiding")
BOTH_SIDES = replace(RULES[7], both_sides=True)


def own(**fields: Any) -> RunRule:
    return RunRule(**{"name": "own", "nelson": 0, **fields})


@pytest.fixture(scope="session")
def reference() -> dict[str, Any]:
    return outside.entries()


def test_three_sigma_limits_signal_once_in_370_4_values() -> None:
    assert individuals_arl() == pytest.approx(370.398347345, rel=1e-10)


@pytest.mark.parametrize("key", PRINTED)
def test_rules_together_match_the_printed_table_at_every_shift(key: str) -> None:
    rules = [CHAMP_WOODALL[digit] for digit in key]

    for shift, printed in zip(SHIFTS, PRINTED[key], strict=True):
        # Two digits are printed. One cell of the recalled print, 5.41 for 5.4186, does not round.
        rounding = 0.009 if (key, shift) == ("1234", 1.4) else 0.0056
        assert individuals_arl(rules=rules, shift=shift) == pytest.approx(printed, rel=0.0, abs=rounding)


@pytest.mark.parametrize("key", RECOMPUTED)
def test_the_other_combinations_match_at_every_shift(key: str) -> None:
    rules = [CHAMP_WOODALL[digit] for digit in key]

    computed = [individuals_arl(rules=rules, shift=shift) for shift in SHIFTS]

    assert computed == pytest.approx(RECOMPUTED[key], rel=1e-5)


def test_zone_rules_match_every_recomputed_cell_of_the_table(reference: dict[str, Any]) -> None:
    entry = reference["arl.runsrules.champwoodall"]
    assert entry["inputs"]["shifts"] == SHIFTS
    assert set(entry["expected"]["ARL"]) == {*PRINTED, *RECOMPUTED}
    for key, expected in entry["expected"]["ARL"].items():
        rules = [CHAMP_WOODALL[digit] for digit in key]
        assert [zone_arl(rules, shift) for shift in SHIFTS] == pytest.approx(expected, rel=1e-8), key
        by_chances = [zone_run_length(rules, shift).mean for shift in SHIFTS]
        assert by_chances == pytest.approx(expected, rel=1e-8), key


@pytest.mark.parametrize("rule", [*RULES, BOTH_SIDES], ids=lambda rule: f"{rule.nelson} {rule.both_sides}")
def test_each_of_the_eight_rules_alone_matches_the_reference(rule: RunRule) -> None:
    expected = ALONE["8_both_sides_required" if rule.both_sides else str(rule.nelson)]

    computed = [individuals_arl(rules=[rule], shift=shift) for shift in ALONE_SHIFTS]
    by_chances = [individuals_run_length(rules=[rule], shift=shift).mean for shift in ALONE_SHIFTS]

    assert computed == pytest.approx(expected, rel=1e-8)
    assert by_chances == pytest.approx(expected, rel=1e-8)


def test_the_values_typed_here_are_those_of_the_reference(reference: dict[str, Any]) -> None:
    for key, expected in reference["arl.nelson.single"]["expected"].items():
        assert ALONE[key] == pytest.approx(expected, rel=1e-9)
    for fixture in reference["pattern.nelson"]["inputs"]:
        rule = RULES[int(fixture.removeprefix("test")) - 1]
        sequences = reference["pattern.nelson"]["inputs"][fixture]
        first = reference["pattern.nelson"]["expected"]["first_signal_1based"][fixture]
        assert apply(sequences["hit"], [rule])[0] == (first - 1, rule.name)
        assert apply(sequences["miss"], [rule]) == []


def test_a_run_of_nine_on_one_side_takes_511_values() -> None:
    """Feller, Probability Theory vol. 1, XIII.7: runs of length 9 of either kind, p = 1/2: 2^9 - 1."""
    assert individuals_arl(rules=["same_side"]) == pytest.approx(511.0, rel=1e-10)


def test_a_run_rule_with_a_count_of_its_own_is_taken_as_given() -> None:
    eight = replace(RULES[1], count=8, of=8)

    assert individuals_arl(rules=[eight]) == pytest.approx(2**8 - 1, rel=1e-10)


@pytest.mark.parametrize(
    "rule",
    [
        own(pattern="beyond", count=2, of=4, limit=1.5, high=2.5),
        own(pattern="beyond", count=3, of=3, limit=0.5),
        own(pattern="inside", count=3, of=4, limit=0.7),
        own(pattern="outside", count=2, of=3, limit=1.2, high=2.2),
        own(pattern="outside", count=4, of=4, limit=0.3, both_sides=True),
    ],
    ids=lambda rule: f"{rule.pattern} {rule.count} of {rule.of}",
)
@pytest.mark.parametrize("shift", [0.0, 0.8])
def test_survival_is_the_sum_over_all_ways_that_the_rule_does_not_see(rule: RunRule, shift: float) -> None:
    """Every sequence of zones of five values is shown to the rule itself; no chain is involved."""
    cuts = sorted({side * cut for cut in (rule.limit, rule.high) if cut < 9 for side in (-1, 1)} | {0.0})
    chance = np.diff(norm.cdf(np.array([-math.inf, *cuts, math.inf]) - shift))
    inside = np.array([cuts[0] - 0.1, *(np.array(cuts[1:]) + cuts[:-1]) / 2, cuts[-1] + 0.1])
    ways = np.array(list(itertools.product(range(chance.size), repeat=5)))
    shown = np.column_stack((inside[ways], np.full(len(ways), math.nan)))  # a missing value between the ways
    first = np.full(len(ways), 6)
    for index, _ in reversed(apply(shown.ravel(), [rule])):
        first[index // 6] = index % 6 + 1
    expected = [float(chance[ways][first > n].prod(axis=1).sum()) for n in range(6)]

    computed = individuals_run_length(rules=[rule], shift=shift).surviving(5)

    assert computed == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("length", [3, 5])
@pytest.mark.parametrize(
    ("distribution", "steps_of"),
    [
        (trend_run_length, lambda run: all(d > 0 for d in run) or all(d < 0 for d in run)),
        (alternating_run_length, lambda run: all(a * b < 0 for a, b in itertools.pairwise(run))),
    ],
    ids=["trend", "alternating"],
)
def test_survival_of_order_rules_is_counted_over_all_orders(
    distribution: Callable[[int], Any], steps_of: Callable[[Any], bool], length: int
) -> None:
    """Eight values can stand in 8! orders, each as likely as any other."""
    orders = np.diff(np.array(list(itertools.permutations(range(8)))), axis=1)
    first = np.full(len(orders), 9)
    for end in range(8, length - 1, -1):
        seen = np.array([steps_of(steps) for steps in orders[:, end - length : end - 1].tolist()])
        first[seen] = end
    expected = [float((first > n).mean()) for n in range(9)]

    assert distribution(length).surviving(8) == pytest.approx(expected, rel=1e-12)


def test_order_rules_match_the_reference(reference: dict[str, Any]) -> None:
    expected = reference["arl.trend.variants"]["expected"]

    computed = {f"{points}_points": trend_arl(points) for points in (6, 7, 8)}
    computed |= {f"{points}_alternating": alternating_arl(points) for points in (12, 14)}

    assert computed == pytest.approx(expected, rel=1e-8)


def test_order_rules_match_the_values_of_a_program_of_relative_ranks() -> None:
    assert trend_arl(7) == pytest.approx(2881.85187725, rel=1e-9)  # six rises, a frequent off-by-one
    assert trend_arl(8) == pytest.approx(22682.1043712, rel=1e-9)
    assert alternating_arl(12) == pytest.approx(243.170579057, rel=1e-9)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
@pytest.mark.parametrize("shift", [0.0, 1.0, 3.0])
def test_quantiles_of_limits_alone_are_geometric(share: float, shift: float) -> None:
    beyond = norm.sf(3.0 - shift) + norm.cdf(-3.0 - shift)

    assert individuals_run_length(shift=shift).quantile(share) == geom(beyond).ppf(share)


@pytest.mark.parametrize("percent", [5, 50, 95])
def test_quantiles_of_a_run_on_one_side_follow_from_counting_coins(percent: int) -> None:
    """Sequences of coins without a run of nine: each number the sum of the eight before (Feller, XIII.7)."""
    without = [1, 2]
    while without[-1] * 100 > (100 - percent) * 2 ** (len(without) - 1):
        n = len(without)
        without.append(2**n if n < 9 else sum(without[n - 8 : n]))

    assert individuals_run_length(rules=["same_side"]).quantile(percent / 100) == len(without) - 1


def test_a_rule_with_a_longer_memory_than_the_others_is_not_missed() -> None:
    """The chance of a signal stays the same for 29 values before the second rule can add to it."""
    rules = [ZoneRule(1, 1, 3.0), ZoneRule(30, 30, 0.0, 1.0, same_side=False)]

    assert zone_run_length(rules).mean == pytest.approx(zone_arl(rules), rel=1e-9)
    assert zone_arl(rules) < individuals_arl() * (1 - 1e-6)


def test_a_median_of_a_run_length_beyond_any_solve_keeps_its_digits() -> None:
    """Hugging at three sigma off: geometric in the long run, so the median is ln 2 of the mean."""
    far = individuals_run_length(rules=["hugging"], shift=3.0)

    assert far.mean == pytest.approx(4.61632918161e24, rel=1e-9)
    assert far.median == pytest.approx(math.log(2) * far.mean, rel=1e-9)


def test_a_chart_that_never_signals_has_no_quantile() -> None:
    never = individuals_run_length(width=60.0)

    assert never.mean == never.median == math.inf


def test_what_survives_and_what_signals_add_up() -> None:
    distribution = individuals_run_length(rules=ZONE_NAMES)
    n = distribution.survival.size + 500

    assert distribution.chances(n).sum() + distribution.surviving(n)[-1] == pytest.approx(1.0, abs=1e-14)
    assert distribution.chances(3) == pytest.approx(-np.diff(distribution.surviving(3)))


def test_a_shift_long_after_the_start_is_found_as_a_simulation_finds_it() -> None:
    rules = [rule for rule in RULES if rule.name in ZONE_NAMES[:4]]
    runs, before, after = 6000, 40, 200
    z = np.random.default_rng(31).standard_normal((runs, before + after))
    z[:, before:] += 1.0
    z[:, -1] = math.nan  # starts each row anew
    lengths, met = np.full(runs, math.inf), apply(z.ravel(), rules)
    for index, _ in reversed(met):
        lengths[index // z.shape[1]] = index % z.shape[1] + 1 - before
    kept = lengths[lengths > 0]
    assert math.isfinite(kept.max())
    zones = [ZoneRule(r.count, r.of, r.limit) for r in rules]

    assert zone_steady_arl(zones, 1.0) == pytest.approx(
        kept.mean(), abs=4 * kept.std(ddof=1) / math.sqrt(kept.size)
    )
    assert zone_steady_arl([ZoneRule(1, 1, 3.0)], 1.0) == pytest.approx(individuals_arl(shift=1.0))


@pytest.mark.parametrize(("arl", "count"), [(trend_arl, 3), (alternating_arl, 4)])
def test_short_order_patterns_match_a_simulation_of_uniform_values(
    arl: Callable[[int], float], count: int
) -> None:
    rng = np.random.default_rng(20)
    name = "trend" if arl is trend_arl else "alternating"
    rule = own(name=name, pattern=name, count=count, of=count)

    mean, error = simulated_individuals_arl(rng=rng, rules=[rule], runs=3000)

    assert mean == pytest.approx(arl(count), abs=4 * error)
    assert arl(2 if arl is trend_arl else 3) < arl(count)


@pytest.mark.parametrize("shift", [0.0, 1.0])
@pytest.mark.parametrize(
    "rules",
    [
        ["beyond_limit", "trend"],
        ["trend", "alternating"],
        ["same_side:4", "two_of_three@0.5-2", "trend:4", "alternating:5"],
        [rule.name for rule in RULES],
    ],
    ids=len,
)
def test_rules_of_zones_and_order_together_match_the_rules_themselves(rules: list[str], shift: float) -> None:
    """Share of series without a signal in their first values, as the rules themselves see them."""
    series, longest = 20_000, 60
    z = np.random.default_rng(32).standard_normal((series, longest + 1)) + shift
    z[:, -1] = math.nan  # starts each row anew
    first = np.full(series, longest + 1)
    for index, _ in reversed(apply(z.ravel(), named(rules))):
        first[index // (longest + 1)] = index % (longest + 1) + 1

    surviving = individuals_run_length(rules=rules, shift=shift).surviving(longest)

    for n in (1, 2, 4, 6, 9, 14, 20, 30, 60):
        error = math.sqrt(max(surviving[n] * (1 - surviving[n]), 1e-5) / series)
        assert np.mean(first > n) == pytest.approx(surviving[n], abs=4.5 * error), n


def test_all_eight_rules_cry_wolf_every_73_values_as_a_simulation_says() -> None:
    names = [rule.name for rule in RULES]

    mean, error = simulated_individuals_arl(rng=np.random.default_rng(6), rules=names, runs=2000)

    assert individuals_arl(rules=names) == pytest.approx(mean, abs=4 * error)
    assert individuals_arl(rules=names) == pytest.approx(73.48, abs=0.01)


def test_a_mixture_tends_to_the_rules_that_are_left_when_the_others_never_signal() -> None:
    zones, never = [ZoneRule(2, 3, 2.0), ZoneRule(8, 8, 0.0)], ZoneRule(1, 1, 50.0)

    assert mixed_run_length(zones, shift=0.7).mean == pytest.approx(zone_arl(zones, 0.7), rel=1e-10)
    assert mixed_run_length([never], trend=6, shift=1.0).mean == pytest.approx(trend_arl(6), rel=1e-10)
    assert mixed_run_length([], alternating=14).mean == pytest.approx(alternating_arl(14), rel=1e-10)
    assert individuals_arl(rules=["beyond_limit", "trend:20"]) == pytest.approx(individuals_arl(), rel=1e-10)


def test_of_two_trends_only_the_shorter_matters() -> None:
    assert individuals_arl(rules=["trend:7", "trend"]) == pytest.approx(trend_arl(6), rel=1e-12)


def test_a_mixture_that_remembers_too_much_says_that_it_must_be_simulated(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(mixed, "STATE_LIMIT", 5)
    with pytest.raises(ValueError, match="over 5 states; simulate them"):
        individuals_arl(rules=["beyond_limit@2.9", "trend"])


def test_the_standard_error_of_a_simulation_is_the_one_it_says() -> None:
    """Of batches against the exact mean: squares of their errors in standard errors follow chi-squared."""
    rng, exact, batches = np.random.default_rng(5), individuals_arl(rules=ZONE_NAMES, shift=0.5), 60
    off = []
    for _ in range(batches):
        mean, error = simulated_individuals_arl(rng=rng, rules=ZONE_NAMES, shift=0.5, runs=200)
        off.append((mean - exact) / error)

    low, high = chi2(batches).ppf([0.001, 0.999])
    assert low < sum(each * each for each in off) < high
    assert abs(sum(off)) < 3.5 * math.sqrt(batches)


def test_simulation_agrees_with_the_exact_chain() -> None:
    mean, error = simulated_individuals_arl(rng=np.random.default_rng(5), rules=ZONE_NAMES, runs=2000)

    assert mean == pytest.approx(individuals_arl(rules=ZONE_NAMES), abs=4 * error)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: individuals_arl(width=0.0), "width is 0.0"),
        (lambda: individuals_arl(rules=[]), "No rule is given"),
        (lambda: zone_run_length([]), "No rule is given"),
        (lambda: individuals_arl(rules=["no_such"]), "no_such"),
        (lambda: individuals_arl(shift=math.nan), "shift is nan"),
        (lambda: trend_arl(1), "pattern of 1 values"),
        (lambda: alternating_run_length(21), "pattern of 21 values"),
        (lambda: ZoneRule(3, 2, 1.0), "3 in 2 values"),
        (lambda: ZoneRule(2, 3, 2.0, 1.0), "zone from 2.0 to 1.0"),
        (lambda: ZoneRule(2, 3, 2.0, same_side=False, both_sides=True), "cannot ask for both sides"),
        (lambda: individuals_run_length().quantile(1.0), "share of runs is 1.0"),
        (lambda: simulated_individuals_arl(rng=np.random.default_rng(1), rules=["trend"], runs=1), "1 runs"),
    ],
)
def test_what_cannot_be_computed_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
