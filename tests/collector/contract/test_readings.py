"""A block of numbers that is read at once is read as one that has to be gone through member by member."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.contract.readings import Readings, read_block
from collector.contract.unreadable import Unreadable

KEYS = [
    "cushion", "peak_melt_pressure", "barrel_temperature.1", "barrel_temperature.2", "ram_wobble", "No Key",
]  # fmt: skip
UNITS = ["bar", "degF", "mm", "s", "furlong"]
# 1.7e308 is near the largest double: some conversions leave the range, and a sum of two does.
NUMBERS = st.floats(-1e4, 1e4) | st.sampled_from([0.0, -0.0, 1.7e308, -1.7e308])
BLOCKS = st.dictionaries(st.sampled_from(KEYS), NUMBERS, max_size=4)
GIVEN = st.dictionaries(st.sampled_from([*KEYS, "barrel_temperature"]), st.sampled_from(UNITS), max_size=4)


def read(block: dict[str, Any], units: dict[str, str]) -> tuple[object, ...]:
    found = Readings()
    try:
        read_block(block, units, "values", "shot", found)
    except Unreadable as broken:
        return broken.reason, broken.detail, broken.remedy
    return list(found.values.items()), list(found.originals.items()), list(found.units.items())


@given(BLOCKS, GIVEN)
def test_at_once_and_member_by_member_are_the_same(block: dict[str, float], units: dict[str, str]) -> None:
    # A member without a value is what nothing is read at once with.
    assert read(block, units) == read({**block, "part_weight": None}, units)


def test_what_was_sent_in_another_unit_is_kept_as_it_was_sent() -> None:
    # NIST Special Publication 811 (2008), appendix B: 1 bar is 0.1 MPa.
    found = Readings()
    block, units = {"cushion": 5.5, "peak_melt_pressure": 742.0}, {"peak_melt_pressure": "bar"}
    read_block(block, units, "values", "shot", found)

    assert found.values == pytest.approx({"cushion": 5.5, "peak_melt_pressure": 74.2}, rel=1e-12)
    assert (found.originals, found.units) == ({"peak_melt_pressure": (742.0, "bar")}, {})
