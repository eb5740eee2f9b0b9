"""Numbers that a person reads: digits counted by hand."""

from __future__ import annotations

import pytest

from collector.contract.figures import counted, percent, significant


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (45_678.0, "45,700"),
        (61.2345, "61.2"),
        (120.0, "120"),
        (999.7, "1,000"),
        (0.0042, "0.0042"),
        (1.2e-7, "0.00000012"),
        (0.0, "0"),
        (-1234.5, "-1,230"),
        (1e9, "1,000,000,000"),
    ],
)
def test_no_number_is_written_with_an_exponent(value: float, text: str) -> None:
    assert significant(value) == text


def test_one_is_singular_and_everything_else_is_not() -> None:
    assert [counted(n, "disc") for n in (0, 1, 2, 1200)] == ["0 discs", "1 disc", "2 discs", "1,200 discs"]
    assert [counted(n, "more stretch", "more stretches") for n in (1, 3)] == [
        "1 more stretch", "3 more stretches",
    ]  # fmt: skip


def test_a_space_parts_a_number_from_its_percent_sign() -> None:
    """As ISO 80000-1 and the SI brochure write it."""
    assert (percent(0.75), percent(0.005, 1), percent(1.0)) == ("75 %", "0.5 %", "100 %")
