"""Numbers with a mark between their thousands: read in groups of three, and never guessed in silence.

What is written is made by Python's own format (``format(x, ",.1f")``, Format Specification Mini-Language).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.contract.marks import DecimalMark, Marks, ThousandsMark
from collector.contract.refusal import Refusal
from collector.contract.unreadable import Unreadable
from collector.errors import UserError
from collector.sources import csv_cells as cells
from collector.sources import profiles
from tests.collector.sources.test_inspection_traps import kept, proposed, shots, table

NEVER_GROUPED = ("10,72", "0,512", "1,0372", "1,,037", ",037", "1037,412", "1,037,4", "1,037e3")


def written(value: float, form: str, marks: Marks) -> str:
    swapped = {",": marks.thousands or "", ".": marks.decimal}
    return "".join(swapped.get(sign, sign) for sign in format(value, form))


@given(
    value=st.floats(-1e9, 1e9, allow_nan=False), digits=st.integers(0, 4),
    decimal=st.sampled_from(".,"), thousands=st.sampled_from(".,' "),
)  # fmt: skip
def test_every_number_with_parted_thousands_is_read_back(
    value: float, digits: int, decimal: DecimalMark, thousands: ThousandsMark
) -> None:
    if decimal == thousands:
        return
    marks = Marks(decimal, thousands)
    expected = float(format(value, f".{digits}f"))

    assert cells.number(written(value, f",.{digits}f", marks), marks, "c") == expected
    assert cells.number(written(value, f".{digits}f", marks), marks, "c") == expected, "none need be parted"


@pytest.mark.parametrize("text", NEVER_GROUPED)
def test_what_is_no_group_of_three_is_refused(text: str) -> None:
    with pytest.raises(Unreadable):
        cells.number(text, Marks(".", ","), "Pmax")


@pytest.mark.parametrize("space", ["\u00a0", "\u2009", "\u202f"])
def test_a_space_may_not_break_or_be_narrow_and_an_apostrophe_may_be_typographic(space: str) -> None:
    assert cells.number(f"1{space}037,4", Marks(",", " "), "c") == 1037.4
    assert cells.number("1\u2019037.4", Marks(".", "'"), "c") == 1037.4


@pytest.mark.parametrize(
    ("text", "marks", "remedy"),
    [
        ("10,728", Marks("."), "set thousands_mark = ',' in the profile, if ',' parts thousands there; or"),
        ("1.037,4", Marks(","), "set thousands_mark = '.' in the profile, if"),
        ("1.037,4", Marks("."), "set decimal_mark = ',' and thousands_mark = '.'"),
        ("2410,5", Marks("."), "set decimal_mark = ',' in the profile, or"),
        ("10,72", Marks(".", ","), "mend the cell"),
        ("742.1", Marks(",", "'"), "set decimal_mark = '.'"),
    ],
)
def test_the_remedy_names_the_mark_that_would_read_the_cell(text: str, marks: Marks, remedy: str) -> None:
    with pytest.raises(Unreadable) as refused:
        cells.number(text, marks, "Pmax")
    assert refused.value.remedy.startswith(remedy)


def test_both_marks_cannot_be_one_sign() -> None:
    with pytest.raises(UserError, match="decimal_mark and thousands_mark cannot be the same sign"):
        profiles.parse(
            'kind = "shots"\npress = "P1"\ndecimal_mark = ","\nthousands_mark = ","\ndelimiter = ";"\n'
            'time = {columns = ["t"]}\nvalues = [{key = "cushion", column = "c"}]\n',
            "p",
        )


def german(number: int) -> str:
    pressure = written(980.4 + 3.1 * number, ",.1f", Marks(",", "."))
    return f"{number};2026-11-24 10:{number:02}:00;{pressure};6,{number:02}"


def american(number: int) -> str:
    return f"{number}\t2026-11-24 10:{number:02}:00\t{10_728 + 7 * number:,}\t0.2{number % 9 + 1}"


@pytest.mark.parametrize(
    ("head", "row", "unit"),
    [
        ("Schuss;Zeit;Spritzdruck bar;Polster mm", german, 0.1),
        ("Shot\tTime\tPeak pressure [psi]\tCushion [in]", american, 0.006894757),  # NIST SP 811, B.8
    ],
)
def test_a_pressure_with_parted_thousands_is_proposed_and_read(
    tmp_path: Path, head: str, row: Callable[[int], str], unit: float
) -> None:
    found, doubts = proposed(tmp_path, table(head, row))

    first = 980.4 if row is german else 10_728
    values = [each.values["peak_melt_pressure"] for each in shots(kept(found))]
    assert len(values) == 40
    assert values[0] == pytest.approx(first * unit, rel=1e-6)
    assert any("between thousands" in each for each in doubts)


@pytest.mark.parametrize(
    ("head", "cell", "key", "value"),
    [
        ("Shot;Time;Peak pressure psi", lambda n: f"{10_891 + 11 * n:,}", "peak_melt_pressure", 75.09),
        ("Shot;Time;Fill time ms", lambda n: f"{2_397 + n:,}", "injection_time", 2.397),
        ("Shot;Time;Peak pressure bar", lambda n: f"{990 + n:,}", "peak_melt_pressure", 99.0),
        ("Schuss;Zeit;Druck max bar", lambda n: f"1.{12 + n:03}", "peak_melt_pressure", 101.2),
    ],
)
def test_beside_whole_numbers_the_usual_size_tells_thousands_from_decimals_and_it_is_said(
    tmp_path: Path, head: str, cell: Callable[[int], str], key: str, value: float
) -> None:
    found, doubts = proposed(tmp_path, table(head, lambda n: f"{n};2026-11-24 10:{n:02}:00;{cell(n)}"))

    assert shots(kept(found))[0].values[key] == pytest.approx(value, rel=1e-3)
    assert any("between thousands" in each for each in doubts)


@pytest.mark.parametrize("mark", [".", ","])
def test_three_decimals_of_a_usual_size_stay_decimals_without_a_word(tmp_path: Path, mark: str) -> None:
    found, doubts = proposed(
        tmp_path,
        table("Shot;Time;Fill time s", lambda n: f"{n};2026-11-24 10:{n:02}:00;2{mark}{400 + n}"),
    )

    assert shots(kept(found))[3].values["injection_time"] == 2.403
    assert not any("thousands" in each for each in doubts)


def test_where_nothing_tells_thousands_decimals_are_taken_and_it_is_said(tmp_path: Path) -> None:
    found, doubts = proposed(
        tmp_path, table("Shot;Time;Druckintegral bar*s", lambda n: f"{n};2026-11-24 10:{n:02}:00;2,{400 + n}")
    )

    assert list(shots(kept(found))[0].values.values()) == [2.4]
    assert any("or between thousands" in each for each in doubts)


def test_a_count_with_parted_thousands_is_a_counter(tmp_path: Path) -> None:
    found, _ = proposed(
        tmp_path,
        table("Shot;Time;Cushion mm", lambda n: f"{980 + n:,};2026-11-24 10:{n:02}:00;6.{n:02}"),
    )

    assert [each.counter for each in shots(kept(found))] == list(range(980, 1020))
    assert not [each for each in found if isinstance(each, Refusal)]


@pytest.mark.parametrize("number", ["123.456.789", "123,456,789", "12 345 678"])
@pytest.mark.parametrize("mark", [".", ","])
def test_a_number_that_names_a_part_changes_no_decimal_mark(tmp_path: Path, number: str, mark: str) -> None:
    found, _ = proposed(
        tmp_path,
        table("Shot;Time;Part;Cushion mm", lambda n: f"{n};2026-11-24 10:{n:02}:00;{number};6{mark}{n:02}"),
    )

    assert [each.values["cushion"] for each in shots(kept(found))] == [6 + n / 100 for n in range(40)]


@pytest.mark.parametrize(("space", "mark"), [(" ", ","), ("'", "."), ("\u00a0", ",")])
def test_a_space_or_an_apostrophe_between_thousands_is_found(
    tmp_path: Path, space: str, mark: DecimalMark
) -> None:
    def row(number: int) -> str:
        marks = Marks(mark, "'" if space == "'" else " ")
        pressure = written(990.5 + number, ",.1f", marks).replace(" ", space)
        return f"{number};2026-11-24 10:{number:02}:00;{pressure}"

    found, doubts = proposed(tmp_path, table("Shot;Time;Peak pressure bar", row))

    values = [each.values["peak_melt_pressure"] for each in shots(kept(found))]
    assert values == pytest.approx([(990.5 + number) / 10 for number in range(40)])
    assert any("between thousands" in each for each in doubts)
