"""Units against published factors."""

from __future__ import annotations

import pytest
from scipy import constants

from collector.contract import units

# NIST Special Publication 811 (2008), appendix B.8, seven digits, turned into our canonical units.
NIST_SP_811 = [
    ("psi", "MPa", 6.894757e-3),
    ("bar", "MPa", 1.0e-1),
    ("in3", "cm3", 1.638706e1),
    ("oz", "g", 2.834952e1),
    ("lbf", "kN", 4.448222e-3),
    ("ton_force_us", "kN", 8.896443),
    ("ton_force_metric", "kN", 9.80665),
    ("gal/min", "L/min", 6.309020e-5 * 60_000),
    ("lbf*ft", "N*m", 1.355818),
    ("in/s", "mm/s", 25.4),
]


@pytest.mark.parametrize(("source", "target", "factor"), NIST_SP_811)
def test_factors_are_those_of_the_si_guide(source: str, target: str, factor: float) -> None:
    line = units.linear(source, target)

    assert line is not None
    assert line[0] == pytest.approx(factor, rel=3e-7)
    assert line[1] == 0.0


def test_factors_are_those_of_scipy() -> None:
    assert units.convert(1, "psi", "MPa") == pytest.approx(constants.psi / 1e6, rel=1e-12)
    assert units.convert(1, "oz", "g") == pytest.approx(constants.oz * 1e3, rel=1e-12)
    assert units.convert(0, "degC", "K") == pytest.approx(constants.zero_Celsius)


def test_temperatures_convert_at_the_fixed_points() -> None:
    # Water boils at 212 degF and freezes at 32 degF; -40 is the same on both scales.
    assert units.convert(212, "degF", "degC") == pytest.approx(100)
    assert units.convert(32, "degF", "degC") == pytest.approx(0, abs=1e-12)
    assert units.convert(-40, "degF", "degC") == pytest.approx(-40)


def test_a_temperature_difference_is_no_temperature() -> None:
    assert units.convert(9, "delta_degF", "delta_degC") == pytest.approx(5)
    assert units.convert(5, "K", "delta_degC") == 5
    assert units.linear("degC", "delta_degC") is None
    assert units.linear("delta_degC", "degC") is None


def test_a_screw_speed_counts_turns_not_radians() -> None:
    assert units.convert(60, "rpm", "1/min") == 60
    assert units.convert(1, "1/s", "1/min") == 60


# UNECE Recommendation 20 codes (from memory of its annex; the same as in OPC 40077 servers).
UNECE = {
    "CEL": "degC", "FAH": "degF", "BAR": "bar", "MPA": "MPa", "PS": "psi", "SEC": "s", "C26": "ms",
    "MMT": "mm", "INH": "in", "CMQ": "cm3", "2M": "cm3/s", "C16": "mm/s", "GRM": "g", "B47": "kN",
    "NU": "N*m", "RPM": "1/min", "P1": "percent",
}  # fmt: skip


@pytest.mark.parametrize(("code", "name"), UNECE.items())
def test_unece_codes_are_read(code: str, name: str) -> None:
    assert units.normal_name(code) == name


@pytest.mark.parametrize(
    "spelling", ["barr", "", "2**9", "m**99999999", "1e9*m", "__import__", "m" * 50, "degX"]
)
def test_what_is_no_unit_is_none(spelling: str) -> None:
    assert units.normal_name(spelling) is None


def test_no_spelling_stands_for_two_units() -> None:
    spellings = [spelling for unit in units.UNITS for spelling in (unit.name, *unit.spellings)]

    assert len(spellings) == len(set(spellings))


def test_every_unit_converts_to_its_canonical_one_and_back() -> None:
    for unit in units.UNITS:
        there, back = units.linear(unit.name, unit.canonical), units.linear(unit.canonical, unit.name)
        assert there is not None
        assert back is not None
        assert (3.0 * there[0] + there[1]) * back[0] + back[1] == pytest.approx(3.0, rel=1e-12)


def test_an_impossible_conversion_says_so() -> None:
    with pytest.raises(ValueError, match="does not convert"):
        units.convert(1, "mm", "s")
    with pytest.raises(ValueError, match="'mmm'"):
        units.convert(1, "mmm", "s")
