"""No cell of a CSV file that evenrun writes is a formula.

The signs that begin one are those of OWASP's page on CSV injection (the wide forms from memory).
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.csv_out import as_text, row_writer

FORMULA = tuple("=+-@\t\r\n＝＋－＠")  # noqa: RUF001 - the wide forms are meant
OURS = Path(__file__).parents[2]


def written(*cells: object) -> str:
    out = io.StringIO(newline="")
    row_writer(out)(cells)
    return out.getvalue()


def read_back(text: str) -> list[str]:
    return next(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    "attack",
    [
        '=HYPERLINK("http://example.invalid","look")', "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1",
        "\n=1+1", "  =1+1", '"=1+1', "＝1+1",  # noqa: RUF001 - the wide forms are meant
    ],
)
def test_a_text_that_would_be_a_formula_begins_with_an_apostrophe(attack: str) -> None:
    cell = read_back(written("P1", attack))[1]

    assert cell == (attack if attack.startswith('"') else f"'{attack}")


@given(st.lists(st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0")), min_size=1))
def test_no_cell_begins_like_a_formula_and_none_is_lost(texts: list[str]) -> None:
    cells = read_back(written("first", *texts))[1:]

    assert not any(cell.startswith(FORMULA) or cell.lstrip().startswith(FORMULA) for cell in cells)
    assert [cell.removeprefix("'") if cell not in texts else cell for cell in cells] == texts


def test_numbers_stay_numbers_and_nothing_stays_empty() -> None:
    assert written(-3.25, 17, None, "part") == "-3.25,17,,part\r\n"


def test_a_text_that_looks_like_a_number_below_zero_is_text() -> None:
    assert as_text("-40") == "'-40"


def test_every_csv_file_of_ours_is_written_here() -> None:
    others = {
        str(path.relative_to(OURS))
        for package in ("rules", "collector", "dashboard", "simulator")
        for path in (OURS / package).rglob("*.py")
        if any(word in path.read_text(encoding="utf-8") for word in ("csv.writer", "DictWriter", ".to_csv("))
    }

    assert others == {"collector/csv_out.py"}
