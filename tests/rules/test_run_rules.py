"""The eight run rules against fixtures from their wording, a slow second reading of it, and run lengths."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.run_rules import (
    BLOCK,
    RULES,
    RunRule,
    RunRulesState,
    apply,
    named,
    points_of,
    scan,
    sentence,
    step,
)

BY_NUMBER = {rule.nelson: rule for rule in RULES}

# Made by hand from the wording of Nelson (1984), J. Quality Technology 16, 237-239:
# number, a sequence that meets it, the index where it first does, a sequence that never does.
FIXTURES = [
    (1, [0.5, -0.5, 3.01], 2, [0.5, -0.5, 3.0]),
    (
        2,
        [0.1, 0.2, 0.3] * 3,
        8,
        [0.1, 0.2, 0.3, 0.1, 0.2, 0.3, 0.1, 0.2, -0.1, *[0.1, 0.2, 0.3] * 2, 0.1, 0.2],
    ),
    (3, [-0.5, -0.4, -0.3, 0.1, 0.2, 0.3], 5, [-0.5, -0.4, -0.3, 0.1, 0.2, 0.2, 0.3, 0.4, 0.5]),
    (4, [0.1, -0.1] * 7, 13, [*[0.1, -0.1] * 6, 0.1, 0.2]),
    (5, [2.1, 0, 2.2], 2, [2.1, 0, 0, 2.2, -2.1, 0]),
    (6, [1.1, 1.2, 0, 1.3, 1.4], 4, [1.1, 1.2, 0, 0, 1.3, 1.4, -1.1]),
    (7, [0.5, -0.5] * 7 + [0.5], 14, [0.5, -0.5] * 7 + [1.5]),
    (8, [1.5, -1.5] * 4, 7, [*[1.5, -1.5] * 3, 1.5, 0.5]),
]


def stepped(z, rules):
    state, found = RunRulesState(), []
    for index, value in enumerate(z):
        state, met = step(rules, state, value)
        found += [(index, name) for name in met]
    return found


def reading(rule, z):
    """A slow second reading of the published wording: where does the newest value complete the rule?"""
    found = []
    for end in range(1, len(z) + 1):
        start = max((i + 1 for i in range(end) if math.isnan(z[i])), default=0)
        window = z[max(start, end - rule.of) : end]
        if window and _complete(rule, window):
            found.append((end - 1, rule.name))
    return found


def _complete(rule, w):
    full, a = len(w) == rule.of, rule.limit
    rises = [after - before for before, after in pairwise(w)]
    if rule.name in ("beyond_limit", "same_side", "two_of_three", "four_of_five"):
        return any(s * w[-1] > a and len([v for v in w if s * v > a]) >= rule.count for s in (1, -1))
    if rule.name == "trend":
        return full and (all(r > 0 for r in rises) or all(r < 0 for r in rises))
    if rule.name == "alternating":
        return full and 0 not in rises and all((r < 0) != (q < 0) for r, q in pairwise(rises))
    return full and all(abs(v) < a if rule.name == "hugging" else abs(v) > a for v in w)


@pytest.mark.parametrize(("number", "hit", "index", "miss"), FIXTURES)
def test_a_rule_first_signals_where_its_wording_says(number, hit, index, miss):
    rule = BY_NUMBER[number]
    assert apply(hit, [rule])[0] == (index, rule.name)
    assert apply([-z for z in hit], [rule])[0] == (index, rule.name)
    assert apply(miss, [rule]) == []
    assert stepped(miss, [rule]) == []


# Quarters, so that ties with every limit and between neighbors are common; NaN is a missing value.
near_limits = st.integers(-14, 14).map(lambda quarter: quarter / 4)
values = st.lists(st.one_of(near_limits, st.just(math.nan), st.floats(-1.2, 1.2)), max_size=60)


@settings(deadline=None)
@given(values)
def test_both_forms_agree_with_a_second_reading_of_the_wording(z):
    order = [rule.name for rule in RULES]
    expected = [signal for rule in RULES for signal in reading(rule, z)]
    expected.sort(key=lambda signal: (signal[0], order.index(signal[1])))
    assert apply(z) == expected
    assert stepped(z, RULES) == expected


@settings(deadline=None)
@given(st.lists(st.sampled_from([1.5, -1.5, 2.5, 0.5, math.nan]), min_size=20, max_size=60), st.data())
def test_blocks_of_any_length_give_the_signals_of_the_whole(z, data):
    cut = data.draw(st.integers(0, len(z)))
    state, before = scan(RULES, RunRulesState(), np.array(z[:cut]))
    _, after = scan(RULES, state, np.array(z[cut:]), first=cut)
    assert before + after == apply(z)


def test_runs_are_seen_across_the_internal_block_boundary():
    z = np.zeros(2 * BLOCK)
    z[BLOCK - 4 : BLOCK + 5] = 0.5
    assert (BLOCK + 4, "same_side") in apply(z, named(["same_side"]))


def test_a_run_that_goes_on_signals_at_every_value():
    assert apply([0.5] * 11, named(["same_side"])) == [(8, "same_side"), (9, "same_side"), (10, "same_side")]


@pytest.mark.parametrize(("number", "hit"), [(number, hit) for number, hit, *_ in FIXTURES if number != 1])
def test_a_missing_value_breaks_the_run(number, hit):
    broken = [*hit[:-1], math.nan, hit[-1]]
    assert apply(broken, [BY_NUMBER[number]]) == []
    assert stepped(broken, [BY_NUMBER[number]]) == []


def test_run_lengths_are_the_published_ones():
    # Champ and Woodall (1987), Technometrics 29, 393-399, Table 1, no shift: 91.75 for the four zone rules
    # with eight values on one side, 225.44 for rules 1 and 5. A missing value starts each of the series anew.
    zone_rules = (
        *named(["beyond_limit", "two_of_three", "four_of_five"]),
        replace(BY_NUMBER[2], count=8, of=8),
    )
    normal = np.random.default_rng(7).normal(size=(3000, 2500))
    normal[:, -1] = np.nan
    for rules, published in ((zone_rules, 91.75), (named(["beyond_limit", "two_of_three"]), 225.44)):
        at = np.array([index for index, _ in apply(normal.ravel(), rules)])
        first = np.full(len(normal), normal.shape[1])
        np.minimum.at(first, at // normal.shape[1], at % normal.shape[1] + 1)
        assert first.mean() == pytest.approx(published, abs=4 * first.std() / math.sqrt(len(first)))


def test_the_state_is_never_wider_than_the_rules_need():
    state = RunRulesState()
    for value in range(40):
        state, _ = step(named(["two_of_three"]), state, float(value))
    assert state == RunRulesState((38.0, 39.0))
    assert points_of(BY_NUMBER[7]) == 15


def test_sentences_say_what_was_seen():
    assert [sentence(rule) for rule in RULES] == [
        "1 shot more than 3 sigma from center",
        "9 shots in a row on one side of center",
        "6 shots in a row all rising or all falling",
        "14 shots in a row alternating up and down",
        "2 of 3 shots in a row more than 2 sigma to one side of center",
        "4 of 5 shots in a row more than 1 sigma to one side of center",
        "15 shots in a row within 1 sigma of center",
        "8 shots in a row more than 1 sigma from center, on either side",
    ]


def test_named_rules_come_in_published_order_and_once():
    assert [rule.nelson for rule in named(["avoiding", "trend", "avoiding"])] == [3, 8]


def test_an_unknown_rule_is_answered_with_the_list():
    with pytest.raises(ValueError, match=r"'tredn' is unknown; the rules are beyond_limit, same_side, trend"):
        named(["tredn"])


@pytest.mark.parametrize(
    "wrong",
    [
        {"pattern": "zigzag"},
        {"count": 0},
        {"count": 4},
        {"pattern": "inside", "count": 2},
        {"pattern": "alternating", "count": 2, "of": 2},
        {"limit": -1.0},
        {"limit": math.nan},
    ],
)
def test_a_rule_that_makes_no_sense_is_refused(wrong):
    fields = {"name": "own", "nelson": 0, "pattern": "beyond", "count": 3, "of": 3, "limit": 1.0} | wrong
    with pytest.raises(ValueError, match="Rule own"):
        RunRule(**fields)
