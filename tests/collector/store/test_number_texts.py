"""Many objects of numbers at once are written as each by itself, by encoders that know nothing of this."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.store.canonical import canonical_json
from collector.store.number_texts import written, written_as_sent

NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False), st.floats(0.0, 1000.0), st.integers(-(2**60), 2**60),
    st.integers(-1000, 1000).map(float), st.decimals(-99, 99, places=2).map(float), st.just(-0.0),
)
NAMES = st.text(max_size=6) | st.sampled_from(["cushion", "barrel_temperature.1", "%s", ".0,", '"'])
# Most shots of a batch have the same names, so whole lists of those are made as well.
ALIKE = st.lists(NAMES, unique=True, max_size=5).flatmap(
    lambda names: st.lists(st.fixed_dictionaries(dict.fromkeys(names, NUMBERS)), max_size=5)
)
PLAIN = st.lists(st.fixed_dictionaries({"cushion": st.decimals(-99, 99, places=2).map(float)}), max_size=5)


@given(ALIKE | PLAIN | st.lists(st.dictionaries(NAMES, NUMBERS, max_size=4), max_size=6))
def test_objects_are_written_as_each_by_itself(objects: list[dict[str, float]]) -> None:
    stored, canonical = written(objects)

    assert stored == [json.dumps(each, separators=(",", ":"), ensure_ascii=False) for each in objects]
    assert canonical == [canonical_json(each) for each in objects]


@given(st.lists(st.dictionaries(NAMES, st.tuples(NUMBERS, st.text(max_size=3)), max_size=4), max_size=4))
def test_numbers_as_they_were_sent_are_written_as_each_by_itself(
    objects: list[dict[str, tuple[float, str]]],
) -> None:
    stored, canonical = written_as_sent(objects)

    assert stored == [json.dumps(each, separators=(",", ":"), ensure_ascii=False) for each in objects]
    assert canonical == [canonical_json(each) for each in objects]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_an_object_with_a_number_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="must be a finite number"):
        written([{"cushion": 5.5, "%s": 1.0}, {"cushion": 5.5, "%s": value}])
    with pytest.raises(ValueError, match="must be a finite number"):
        written_as_sent([{"cushion": (value, "mm")}])


def test_zero_below_zero_is_stored_as_it_came_and_proved_as_zero() -> None:
    # RFC 8785, appendix B: the double 8000000000000000 is written 0.
    assert written([{"cushion": -0.0}]) == (['{"cushion":-0.0}'], ['{"cushion":0}'])
