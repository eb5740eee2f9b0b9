"""Canonical JSON, checked against the published samples of RFC 8785 (2020)."""

from __future__ import annotations

import json
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.store.canonical import Json, canonical_json

# RFC 8785, Appendix B: the bits of a double, and how it is written.
APPENDIX_B = """
0000000000000000 0
8000000000000000 0
0000000000000001 5e-324
8000000000000001 -5e-324
7fefffffffffffff 1.7976931348623157e+308
ffefffffffffffff -1.7976931348623157e+308
4340000000000000 9007199254740992
c340000000000000 -9007199254740992
4430000000000000 295147905179352830000
44b52d02c7e14af5 9.999999999999997e+22
44b52d02c7e14af6 1e+23
44b52d02c7e14af7 1.0000000000000001e+23
444b1ae4d6e2ef4e 999999999999999700000
444b1ae4d6e2ef4f 999999999999999900000
444b1ae4d6e2ef50 1e+21
3eb0c6f7a0b5ed8c 9.999999999999997e-7
3eb0c6f7a0b5ed8d 0.000001
41b3de4355555553 333333333.3333332
41b3de4355555554 333333333.33333325
41b3de4355555555 333333333.3333333
41b3de4355555556 333333333.3333334
41b3de4355555557 333333333.33333343
becbf647612f3696 -0.0000033333333333333333
43143ff3c1cb0959 1424953923781206.2
"""


@pytest.mark.parametrize("sample", APPENDIX_B.split("\n")[1:-1])
def test_numbers_are_written_as_published(sample: str) -> None:
    bits, text = sample.split()

    assert canonical_json(struct.unpack(">d", bytes.fromhex(bits))[0]) == text


def test_names_are_sorted_as_published() -> None:
    # RFC 8785, section 3.2.3: by UTF-16 code units, so the emoji stands before the Hebrew letter.
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    written = canonical_json(dict.fromkeys(names, 0))

    assert list(json.loads(written)) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


def test_the_published_object_is_written_as_published() -> None:
    # RFC 8785, section 3.2.2.
    value: dict[str, Json] = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\u000aA\'\u0042\u0022\u005c\\"/',
        "literals": [None, True, False],
    }

    assert canonical_json(value) == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back_the_same(value: float) -> None:
    assert float(canonical_json(value)) == value


@given(st.integers(min_value=-(2**53), max_value=2**53))
def test_an_integer_and_its_double_are_written_alike(value: int) -> None:
    assert canonical_json(value) == canonical_json(float(value))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="must be a finite number"):
        canonical_json({"cushion": value})


def test_what_is_no_json_is_refused() -> None:
    with pytest.raises(TypeError, match="object is no JSON value"):
        canonical_json({"cushion": object()})  # type: ignore[dict-item]
