"""What leads an inspection astray easily, on small files: what a person would make of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.contract.messages import GaugingMessage
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.errors import UserError
from collector.sources import inspection, profiles
from collector.sources.csv_file import Import, Record, read

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)


def table(head: str, row: Callable[[int], str], rows: int = 40) -> str:
    return head + "\n" + "".join(f"{row(number)}\n" for number in range(rows))


def cushion(number: int) -> str:
    return f"{6 + math.sin(number):.2f}"


def proposed(folder: Path, content: str, name: str = "press.csv") -> tuple[list[Record], list[str]]:
    """What the proposed profile makes of a file, none of it refused, and its doubts."""
    path = folder / name
    path.write_text(content, newline="")
    proposal = inspection.propose(path, inspection.Known(zone="UTC", now=NOW, press="P1"))
    profile = profiles.parse(inspection.as_toml(proposal), "proposed")
    found = list(read(path, profile, Import(site="-", now=NOW, received_at=NOW, run="R-1")))
    return found, proposal.sentences()


def kept(found: list[Record]) -> list[Record]:
    assert [each.detail for each in found if isinstance(each, Refusal)] == []
    return found


def shots(found: list[Record]) -> list[Shot]:
    return [each for each in found if isinstance(each, Shot)]


@pytest.mark.parametrize("written", ["{:02}-11-2026", "{:02}.11.26", "{:02}/11/2026"])
def test_dates_without_a_time_of_day_are_read(tmp_path: Path, written: str) -> None:
    """The year of 24-11-2026 looks like the offset of a zone, and 24.11.26 like a dotted time."""
    found, _ = proposed(
        tmp_path, table("Disc;Datum;Dome mm", lambda n: f"A{n};{written.format(1 + n // 2)};{cushion(n)}")
    )

    days = [each.gauged_at for each in kept(found) if isinstance(each, GaugingMessage)]
    assert days == [datetime(2026, 11, 1 + n // 2, tzinfo=UTC) for n in range(40)]


@pytest.mark.parametrize(
    ("head", "row"),
    [
        ("Shot;Datum;Zeit;Cushion mm", "{n};{d:02}.11.26;10:{m:02};{c}"),
        ("Shot;Zeit;Datum;Cushion mm", "{n};10.{m:02}.00;{d:02}.11.26;{c}"),
        ("Shot;Gepr.;Datum;Zeit;Cushion mm", "{n};01.12.25;{d:02}.11.26;10:{m:02};{c}"),
    ],
)
def test_a_date_that_could_be_a_dotted_time_is_not_taken_for_one(
    tmp_path: Path, head: str, row: str
) -> None:
    found, _ = proposed(
        tmp_path, table(head, lambda n: row.format(n=n, d=11 + n // 20, m=n % 20, c=cushion(n)))
    )

    times = [each.ended_at for each in shots(kept(found))]
    assert times == [datetime(2026, 11, 11 + n // 20, 10, n % 20, tzinfo=UTC) for n in range(40)]


def test_cells_with_the_errors_of_a_spreadsheet_are_no_values(tmp_path: Path) -> None:
    # ISO/IEC 29500-1, 18.17.3 (from memory).
    errors = ("#DIV/0!", "#VALUE!", "#N/A", "#NAME?", "#REF!", "#NUM!", "#NULL!")
    found, doubts = proposed(
        tmp_path,
        table(
            "Shot;Time;Cushion mm",
            lambda n: f"{n};2026-11-24 10:{n:02}:00;{errors[n // 3 % 7] if n % 3 == 0 else cushion(n)}",
        ),
    )

    assert sum(not each.values for each in shots(kept(found))) == 14
    assert any("are taken for no value" in each for each in doubts)


@pytest.mark.parametrize("more", ["Total;;240.1\nMean;;6.0\n", "\ufeffShot;Time;Cushion mm\n"])
def test_a_line_of_totals_and_a_second_header_take_no_counter_away(tmp_path: Path, more: str) -> None:
    found, _ = proposed(
        tmp_path, table("Shot;Time;Cushion mm", lambda n: f"{n};2026-11-24 10:{n:02}:00;{cushion(n)}") + more
    )

    assert [each.counter for each in shots(found)] == list(range(40))


def test_a_first_line_without_end_is_told_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"first line of press\.csv is longer"):
        proposed(tmp_path, "y" * 1_000_000)


@pytest.mark.parametrize("name", ['a\npress = "P9".csv', "a\x01.csv", "a\udcff.csv"])
def test_a_name_that_cannot_be_shown_gets_into_no_profile(tmp_path: Path, name: str) -> None:
    with pytest.raises(UserError, match="signs that cannot be shown; rename it"):
        proposed(tmp_path, table("Shot;Time;Cushion mm", cushion), name=name)


def test_a_cushion_of_zero_is_a_value_where_a_pressure_of_zero_is_none(tmp_path: Path) -> None:
    """A screw that bottoms leaves none; nothing is filled without pressure: common practice, no source."""
    found, doubts = proposed(
        tmp_path,
        table(
            "Shot;Time;Cushion mm;Pmax bar",
            lambda n: f"{n};2026-11-24 10:{n:02}:00;{cushion(n) if n != 7 else 0};{(742 + n) * (n != 8)}",
        ),
    )

    seventh, eighth = shots(kept(found))[7:9]
    assert seventh.values["cushion"] == 0.0
    assert eighth.not_written == ("peak_melt_pressure",)
    assert any("a zero is a value" in each for each in doubts)
