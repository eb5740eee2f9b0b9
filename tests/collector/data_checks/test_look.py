"""Values in doubt, and values that only look so. The numbers are invented; which jumps, zeros and flat lines
are of the data is common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract import quantities
from collector.contract.units import linear
from collector.data_checks import jumps
from collector.data_checks.look import Doubt, Known, Rule, look
from collector.data_checks.rows import look_at_rows

USUAL = {
    "peak_melt_pressure": (74.0, 0.4, 2), "mold_core_temperature": (31.0, 0.2, 2),
    "barrel_temperature.2": (195.0, 0.5, 1), "cushion": (6.0, 0.08, 2), "clamp_force": (900.0, 4.0, 0),
    "cooling_time": (38.0, 0.0, 1), "cycle_time": (63.0, 0.3, 2), "coolant_flow": (8.0, 0.1, 2),
}  # fmt: skip


def usual(key: str, count: int, seed: int = 5) -> list[float]:
    """Values as a sound press reports them: rounded to what it writes."""
    center, sigma, decimals = USUAL[key]
    rng = np.random.default_rng([seed, len(key)])
    return [round(float(x), decimals) for x in center + sigma * rng.standard_normal(count)]


def doubts(key: str, values: list[float]) -> list[Doubt | None]:
    known, found = Known(), []
    for value in values:
        known, doubt = look(key, value, known)
        found.append(doubt)
    return found


def rules(key: str, values: list[float]) -> list[Rule | None]:
    return [None if doubt is None else doubt.rule for doubt in doubts(key, values)]


@pytest.mark.parametrize("key", USUAL)
def test_a_sound_press_is_never_in_doubt(key: str) -> None:
    assert set(rules(key, usual(key, 5_000))) == {None}


@pytest.mark.parametrize(
    ("key", "unit", "says"),
    [
        ("peak_melt_pressure", "bar", "bar instead of MPa"),
        ("peak_melt_pressure", "psi", "psi instead of MPa"),
        ("mold_core_temperature", "degF", "degF instead of degC"),
        ("barrel_temperature.2", "degF", "degF instead of degC"),
        ("cushion", "cm", "cm instead of mm"),
        ("cushion", "in", "inches instead of mm"),
        ("clamp_force", "N", "N instead of kN"),
        ("cycle_time", "ms", "ms instead of s"),
    ],
)
def test_a_value_in_another_unit_is_in_doubt_from_the_first_shot_to_the_last(
    key: str, unit: str, says: str
) -> None:
    """The factors are those of the unit tables of pint, through the conversion of messages."""
    before, under, after = usual(key, 40), usual(key, 30, seed=6), usual(key, 10, seed=7)
    meant = quantities.unit(key)
    assert meant is not None
    found_linear = linear(unit, meant)
    assert found_linear is not None
    factor, offset = found_linear
    sent = [(value - offset) / factor for value in under]
    found = doubts(key, [*before, *sent, *after])

    assert all(doubt is None for doubt in [*found[:40], *found[70:]])
    assert all(doubt is not None for doubt in found[40:70])
    named = {doubt.jump for doubt in found[40:70] if doubt is not None}
    assert named == {says}


def test_a_process_that_moves_far_is_not_taken_for_another_unit() -> None:
    """A half shut valve, a mold that warms by twenty kelvin, a fill that needs half as much again."""
    for key, factor in (("coolant_flow", 0.3), ("peak_melt_pressure", 1.5), ("mold_core_temperature", 1.6)):
        moved = [factor * value for value in usual(key, 50, seed=8)]
        assert set(rules(key, [*usual(key, 50), *moved])) == {None}, key


def test_a_zero_that_never_was_is_in_doubt_but_a_used_up_cushion_is_a_matter_of_the_process() -> None:
    assert rules("coolant_flow", [*usual("coolant_flow", 40), 0.0, 0.0, 8.0])[40:] == ["zero", "zero", None]
    assert set(rules("cushion", [*usual("cushion", 40), 0.0, 0.0, 6.0])) == {None}


def test_a_zone_that_is_not_used_and_always_reports_zero_is_not_in_doubt() -> None:
    assert set(rules("barrel_temperature.5", [0.0] * 200)) == {None}


def test_what_the_quantity_cannot_be_is_in_doubt_at_once() -> None:
    assert rules("mold_core_temperature", [31.0, 3276.7, 31.1]) == [None, "implausible", None]


def test_a_value_that_stands_still_is_in_doubt_and_is_believed_again_when_it_moves() -> None:
    key = "mold_core_temperature"
    found = rules(key, [*usual(key, 100), *[31.07] * 40, *usual(key, 20, seed=9)])
    first = found.index("stuck")
    assert 107 <= first <= 115
    assert set(found[first:140]) == {"stuck"}
    assert set(found[141:]) == {None}


def test_a_timer_and_a_slow_coarse_reading_stand_still_for_long_without_doubt() -> None:
    slow = [20.0 + 0.1 * (number // 40 % 3) for number in range(2_000)]
    assert set(rules("coolant_supply_temperature", slow)) == {None}
    assert set(rules("cooling_time", [38.0] * 500 + [36.0] * 500)) == {None}


def test_values_that_come_in_coarser_steps_are_in_doubt() -> None:
    rng = np.random.default_rng(3)
    coarse = [round(float(x) * 2) / 2 for x in 74.0 + 0.6 * rng.standard_normal(40)]
    found = rules("peak_melt_pressure", [*usual("peak_melt_pressure", 200), *coarse])
    assert "coarse" in found[200:240]


def test_two_faults_of_one_reading_are_told_one_after_the_other() -> None:
    found = rules("peak_melt_pressure", [*usual("peak_melt_pressure", 60), *[740.0] * 5, *[0.0] * 3, 74.1])
    assert found[60:] == ["unit_jump"] * 5 + ["zero"] * 3 + [None]


def test_every_jump_lies_beyond_what_small_steps_reach() -> None:
    """What lets an array of values be taken in without looking for jumps."""
    levels = (("MPa", 74.0), ("mm", 6.0), ("degC", 0.0), ("degC", 250.0), ("s", 60.0), ("kN", 900.0))
    for unit, level in levels:
        step = jumps.quiet_step(unit)
        assert step is not None
        for told in jumps.meant(unit, level).values():
            if unit == "degC":
                assert abs(told - level) - jumps.NEAR_K >= 4 * step - 1e-9
            else:
                times = max(told / level * (1 - jumps.NEAR), level / (told * (1 + jumps.NEAR)))
                assert times >= step**4 * 0.94


PIECES = st.sampled_from(["usual", "flat", "zero", "bar", "huge", "round", "fine", "far"])


@st.composite
def columns(draw: st.DrawFn) -> list[float]:
    """Values of one key from pieces, odd and usual ones."""
    values: list[float] = []
    for piece in draw(st.lists(PIECES, min_size=1, max_size=6)):
        some = usual("peak_melt_pressure", draw(st.integers(1, 60)), seed=draw(st.integers(0, 9)))
        values += {
            "usual": some, "flat": [some[0]] * len(some), "zero": [0.0] * len(some),
            "bar": [10 * x for x in some], "huge": [1e6] * len(some),
            "round": [float(round(x)) for x in some], "fine": [x + 1e-4 for x in some],
            "far": [x / 3 for x in some],
        }[piece]  # fmt: skip
    return values


@settings(max_examples=150, deadline=None)
@given(st.lists(columns(), min_size=1, max_size=4), st.integers(1, 120))
def test_many_values_at_once_are_what_they_are_one_by_one(drawn: list[list[float]], size: int) -> None:
    keys = ["peak_melt_pressure", "hold_melt_pressure", "mold_core_temperature", "odd_torque"][: len(drawn)]
    rows = min(map(len, drawn))
    table = np.array([column[:rows] for column in drawn]).T
    one_by_one = dict.fromkeys(keys, Known())
    at_once, done = dict(one_by_one), 0
    while done < rows:
        some = look_at_rows(at_once, keys, table[done : done + size])
        count = max(some.count, 1)
        at_once = dict(some.after)
        for row in range(done, done + count):
            for column, key in enumerate(keys):
                one_by_one[key], doubt = look(key, float(table[row, column]), one_by_one[key])
                if some.count:
                    assert some.doubts.get(key, [None] * count)[row - done] == doubt
        if not some.count:  # something changes with the next shot: that one is looked at by itself
            at_once = dict(one_by_one)
        done += count
        assert at_once == one_by_one
