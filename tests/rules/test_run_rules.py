"""The eight run rules against fixtures from their wording, a slow second reading of it, and run lengths."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.charts import make
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
    taking_part,
    taking_part_back,
)

BY_NUMBER = {rule.nelson: rule for rule in RULES}

# Fixtures pattern.nelson, made by hand from the wording of Nelson (1984), J. Quality Technology 16, 237-239:
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
    full, a, b = len(w) == rule.of, rule.limit, rule.high
    rises = [after - before for before, after in pairwise(w)]
    if rule.pattern == "beyond":
        return any(a < s * w[-1] < b and len([v for v in w if a < s * v < b]) >= rule.count for s in (1, -1))
    if rule.pattern == "trend":
        return full and (all(r > 0 for r in rises) or all(r < 0 for r in rises))
    if rule.pattern == "alternating":
        return full and 0 not in rises and all((r < 0) != (q < 0) for r, q in pairwise(rises))
    seen = [abs(v) < a if rule.pattern == "inside" else a < abs(v) < b for v in w]
    if not seen[-1] or seen.count(True) < rule.count:
        return False
    return not rule.both_sides or {v > 0 for v in w} == {True, False}


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


@st.composite
def own_rules(draw):
    """Rules with every parameter free."""
    pattern = draw(st.sampled_from(["beyond", "inside", "outside", "trend", "alternating"]))
    of = draw(st.integers(3, 9))
    fields = {"name": "own", "nelson": 0, "pattern": pattern, "of": of, "count": of}
    if pattern in ("beyond", "inside", "outside"):
        fields |= {"limit": draw(st.integers(1, 6)) / 2, "count": draw(st.integers(1, of))}
    if pattern in ("beyond", "outside"):
        fields["high"] = draw(st.sampled_from([3.5, math.inf]))
    if pattern == "outside" and fields["count"] == of:
        fields["both_sides"] = draw(st.booleans())
    return RunRule(**fields)


@settings(deadline=None)
@given(values, own_rules())
def test_a_rule_with_numbers_of_its_own_agrees_with_the_second_reading(z, rule):
    expected = reading(rule, z)
    assert apply(z, [rule]) == expected
    assert stepped(z, [rule]) == expected


def part_read(rule, z, end):
    """Which values take part, read from the wording: those in the zone, or all of a pattern in order."""
    start = max((i + 1 for i in range(end + 1) if math.isnan(z[i])), default=0)
    window = range(max(start, end - rule.of + 1), end + 1)
    if rule.pattern in ("trend", "alternating"):
        return tuple(window)
    if rule.pattern == "inside":
        return tuple(i for i in window if abs(z[i]) < rule.limit)
    side = 1 if z[end] > 0 else -1
    either = rule.pattern == "outside"
    return tuple(i for i in window if rule.limit < (abs(z[i]) if either else side * z[i]) < rule.high)


@settings(deadline=None)
@given(values, st.one_of(own_rules(), st.sampled_from(RULES)))
def test_the_values_that_take_part_are_those_of_the_wording_in_both_forms(z, rule):
    signaled, state = {index for index, _ in apply(z, [rule])}, RunRulesState()
    for index, value in enumerate(z):
        expected = part_read(rule, z, index) if index in signaled else ()
        assert taking_part(rule, z, index) == expected
        assert tuple(index - back for back in taking_part_back(rule, state, value)) == expected
        state, _ = step([rule], state, value)


def test_the_values_that_take_part_are_the_ones_a_person_would_circle():
    assert taking_part(BY_NUMBER[5], [0.0, 2.1, 0.0, 2.2], 3) == (1, 3)
    assert taking_part(BY_NUMBER[6], [1.1, 1.2, 0, 1.3, -1.1, 1.4], 5) == ()
    assert taking_part(BY_NUMBER[6], [0, 1.1, 1.2, 0, 1.3, 1.4], 5) == (1, 2, 4, 5)
    assert taking_part(BY_NUMBER[3], [9.0, -0.5, -0.4, -0.3, 0.1, 0.2, 0.3], 6) == (1, 2, 3, 4, 5, 6)
    assert taking_part(BY_NUMBER[1], [0.0, -3.5], 1) == (1,)


def test_an_index_outside_the_series_is_refused():
    with pytest.raises(ValueError, match="none at index 2; count from 0"):
        taking_part(BY_NUMBER[1], [0.0, 4.0], 2)


def test_a_count_of_hundreds_does_not_overflow():
    rule = RunRule(name="own", nelson=0, pattern="beyond", count=300, of=400, limit=0.5)
    z = [1.0, 1.0, 1.0, 0.0] * 100
    assert apply(z, [rule])[:1] == [(398, "own")] == stepped(z, [rule])[:1]


@settings(deadline=None)
@given(st.lists(st.sampled_from([1.5, -1.5, 2.5, 0.5, math.nan]), min_size=20, max_size=60), st.data())
def test_blocks_of_any_length_give_the_signals_of_the_whole(z, data):
    cut = data.draw(st.integers(0, len(z)))
    state, before = scan(RULES, RunRulesState(), np.array(z[:cut]))
    _, after = scan(RULES, state, np.array(z[cut:]), first=cut)
    assert before + after == apply(z)


@settings(deadline=None)
@given(values, own_rules(), st.data())
def test_blocks_of_a_rule_with_numbers_of_its_own_give_the_signals_of_the_whole(z, rule, data):
    cut = data.draw(st.integers(0, len(z)))
    state, before = scan([rule], RunRulesState(), np.array(z[:cut]))
    _, after = scan([rule], state, np.array(z[cut:]), first=cut)
    assert before + after == apply(z, [rule])


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


def test_sentences_of_rules_with_numbers_of_their_own():
    def own(**fields):
        return sentence(RunRule(name="own", nelson=0, **fields))

    assert own(pattern="beyond", count=2, of=3, limit=2.0, high=3.0) == (
        "2 of 3 shots in a row between 2 and 3 sigma to one side of center"
    )
    assert own(pattern="beyond", count=5, of=5, limit=1.0) == (
        "5 shots in a row more than 1 sigma to one side of center"
    )
    assert own(pattern="outside", count=8, of=8, limit=1.0, both_sides=True) == (
        "8 shots in a row more than 1 sigma from center, some on each side"
    )
    assert own(pattern="inside", count=12, of=15, limit=1.0) == (
        "12 of 15 shots in a row within 1 sigma of center"
    )


@pytest.mark.parametrize(
    ("text", "numbers", "written"),
    [
        ("same_side", {}, "same_side"),
        ("same_side:9", {}, "same_side"),
        ("same_side:8", {"count": 8, "of": 8}, "same_side:8"),
        ("same_side:7/8", {"count": 7, "of": 8}, "same_side:7/8"),
        ("trend:7", {"count": 7, "of": 7}, "trend:7"),
        ("two_of_three:2/3@2", {}, "two_of_three"),
        ("two_of_three:2/2", {"count": 2, "of": 2}, "two_of_three:2/2"),
        ("two_of_three@1.96-3.09", {"limit": 1.96, "high": 3.09}, "two_of_three@1.96-3.09"),
        ("four_of_five:3/4@1.50", {"count": 3, "of": 4, "limit": 1.5}, "four_of_five:3/4@1.5"),
        ("hugging:12", {"count": 12, "of": 12}, "hugging:12"),
        ("avoiding@1+both", {"both_sides": True}, "avoiding+both"),
        ("beyond_limit@3.5", {"limit": 3.5}, "beyond_limit@3.5"),
    ],
)
def test_a_rule_is_read_with_numbers_of_its_own_and_written_as_short_as_can_be(text, numbers, written):
    (rule,) = named([text])
    base = next(rule for rule in RULES if rule.name == text.partition(":")[0].partition("@")[0])
    assert rule == replace(base, name=written, **numbers)
    assert named([rule.name]) == (rule,)


def test_a_chart_takes_rules_with_numbers_of_their_own():
    chart = make("individuals", {"center": 5.0, "sigma": 2.0, "rules": ["same_side:3", "two_of_three@1-2"]})
    x = [6.0, 6.0, 6.0, 8.0, 8.0]
    state, stepped_signals = chart.start(), []
    for index, value in enumerate(x):
        state, point = chart.step(state, value)
        stepped_signals += [(index, rule) for rule in point.signals]
    expected = [(2, "same_side:3"), (3, "same_side:3"), (4, "same_side:3"), (4, "two_of_three@1-2")]
    assert list(chart.run(x)[1].signals) == stepped_signals == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tredn:7", "'tredn:7' is unknown; the rules are beyond_limit, same_side"),
        ("same_side:", "cannot be read; write a name"),
        ("same_side:many", "cannot be read; write a name"),
        ("two_of_three@-2", "cannot be read"),
        ("", "'' cannot be read"),
        ("two_of_three:3", "not of how many; write two_of_three:3/N"),
        ("two_of_three:4/3", "cannot ask for 4 of 3 values"),
        ("two_of_three@3-2", "zone from 3 to 2 sigma"),
        ("trend@2", "trend@2 looks at order alone"),
        ("same_side+both", "cannot ask for both sides"),
        ("same_side:0", "0 of 0 values"),
    ],
)
def test_a_written_rule_that_makes_no_sense_is_refused_in_one_sentence(text, words):
    with pytest.raises(ValueError, match=words) as refused:
        named([text])
    assert str(refused.value).count("\n") == 0


def test_rules_with_numbers_of_their_own_keep_their_published_place():
    assert [rule.name for rule in named(["avoiding", "same_side:8", "same_side", "same_side:8"])] == [
        "same_side:8",
        "same_side",
        "avoiding",
    ]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"pattern": "zigzag"}, "no pattern 'zigzag'; use one of beyond, inside"),
        ({"count": 0}, "0 of 3 values; use 1 <= count <= of"),
        ({"count": 4}, "4 of 3 values"),
        ({"count": 0, "of": 0}, "0 of 0 values"),
        ({"count": 2.5}, "2.5 of 3; give whole numbers"),
        ({"pattern": "trend", "count": 2, "limit": 0.0}, "all of them in a row"),
        ({"pattern": "alternating", "count": 2, "of": 2, "limit": 0.0}, "at least 3 values"),
        ({"pattern": "trend"}, "looks at order alone"),
        ({"limit": -1.0}, "limit -1.0; give 0 or more"),
        ({"limit": math.nan}, "limit nan; give 0 or more"),
        ({"limit": 2.0, "high": 1.0}, "zone from 2 to 1 sigma; give the nearer distance first"),
        ({"high": math.nan}, "zone from 1 to nan"),
        ({"pattern": "inside", "limit": 0.0}, "one limit above 0"),
        ({"pattern": "inside", "high": 2.0}, "no other end"),
        ({"pattern": "outside", "limit": 0.0}, "met by every value"),
        ({"both_sides": True}, "both sides"),
        ({"pattern": "outside", "count": 2, "both_sides": True}, "both sides"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_in_one_sentence(wrong, words):
    fields = {"name": "own", "nelson": 0, "pattern": "beyond", "count": 3, "of": 3, "limit": 1.0} | wrong
    with pytest.raises(ValueError, match=words) as refused:
        RunRule(**fields)
    assert str(refused.value).startswith("Rule own ")
    assert str(refused.value).count("\n") == 0
