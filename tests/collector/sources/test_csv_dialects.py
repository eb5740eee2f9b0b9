"""What a profile can say about how a file is written: each property, on a file written by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from collector.contract.mapping import AnyProfile, GaugingProfile, ShotProfile
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import csv_lines
from collector.sources.csv_file import Import, Record, read

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
BASE: dict[str, Any] = {
    "kind": "shots",
    "press": "P1",
    "counter_column": "count",
    "time": {"columns": ["time"], "order": "day-first"},
    "values": [{"key": "cushion", "column": "csh", "unit": "mm"}],
}
PLAIN = "count,time,csh\n1,24.11.2026 10:00:00,5.1\n2,24.11.2026 10:01:00,5.2\n3,24.11.2026 10:02:00,5.3\n"


def imported(folder: Path, content: str | bytes, **changes: Any) -> list[Record]:
    path = folder / "press.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    adapter: TypeAdapter[ShotProfile | GaugingProfile] = TypeAdapter(AnyProfile)
    profile = adapter.validate_python({**BASE, **changes})
    return list(read(path, profile, Import(site="lowland", now=NOW, received_at=NOW)))


def shots(records: list[Record]) -> list[Shot]:
    assert [r.detail for r in records if isinstance(r, Refusal)] == []
    return [record for record in records if isinstance(record, Shot)]


def cushions(records: list[Record]) -> list[float]:
    return [shot.values["cushion"] for shot in shots(records)]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_read_with_and_without_its_mark(tmp_path: Path, encoding: str) -> None:
    assert cushions(imported(tmp_path, PLAIN.encode(encoding), encoding=encoding)) == [5.1, 5.2, 5.3]


def test_a_refused_row_of_a_utf_16_file_has_the_bytes_of_that_row(tmp_path: Path) -> None:
    content = PLAIN + "4,24.11.2026 10:03:00,viel\n"
    (refusal,) = (
        r for r in imported(tmp_path, content.encode("utf-16"), encoding="utf-16") if isinstance(r, Refusal)
    )

    assert refusal.raw == "4,24.11.2026 10:03:00,viel\n".encode("utf-16-le")


def test_a_utf_16_file_that_was_cut_in_a_sign_keeps_its_rows_and_says_so(tmp_path: Path) -> None:
    found = imported(tmp_path, PLAIN.encode("utf-16")[:-1], encoding="utf-16")

    assert len([r for r in found if isinstance(r, Shot)]) >= 2
    assert [r.reason for r in found if isinstance(r, Refusal)] == ["bad_file"]


def test_half_a_surrogate_pair_in_a_utf_16_header_is_refused_with_its_bytes(tmp_path: Path) -> None:
    content = "count,when\ud872,csh\n".encode("utf-16-le", "surrogatepass")
    (refusal,) = imported(tmp_path, content, encoding="utf-16-le")

    assert isinstance(refusal, Refusal)
    assert refusal.reason == "missing_column"
    assert refusal.raw == content[:-2]


def test_rows_with_units_under_the_names_are_no_data_also_when_they_come_again(tmp_path: Path) -> None:
    head = "count,time,csh\n,,mm\nNr.,Uhr,Polster\n"
    rows = PLAIN.split("\n", 1)[1]

    assert cushions(imported(tmp_path, head + rows + head + rows, header_rows=3)) == [5.1, 5.2, 5.3] * 2


def test_a_comma_within_brackets_of_a_name_splits_nothing(tmp_path: Path) -> None:
    content = "count,time,csh,ActTmpBrlZn[1,3]\n1,24.11.2026 10:00:00,5.1,210\n"
    values = [{"key": "barrel_temperature.3", "column": "ActTmpBrlZn[1,3]"}]
    (shot,) = shots(imported(tmp_path, content, values=values, brackets_in_names=True))

    assert shot.values == {"barrel_temperature.3": 210.0}


def test_a_bracket_that_stays_open_leaves_the_header_as_it_is() -> None:
    assert csv_lines.split_names("a[1,b", ",") is None
    assert csv_lines.split_names('"a,1",b[2,3]', ",") == ["a,1", "b[2,3]"]


@pytest.mark.parametrize("newest_first", [False, True])
def test_wrapped_lines_are_one_row_at_its_first_line(tmp_path: Path, newest_first: bool) -> None:
    content = "count,time,\n   csh\n1,24.11.2026\n\t 10:00:00,5.1\n\n2,24.11.2026 10:01:00\n ,much\n"
    content = content.replace("24.11.2026\n\t 10", "24.11.2026 \n\t10")
    found = imported(tmp_path, content, wrapped_lines=True, newest_first=newest_first)

    assert [r.values for r in found if isinstance(r, Shot)] == [{"cushion": 5.1}]
    (refusal,) = (r for r in found if isinstance(r, Refusal))
    assert refusal.position == "press.csv:6"
    assert refusal.raw == b"2,24.11.2026 10:01:00\n ,much\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "latin-1", "utf-8-sig"])
@pytest.mark.parametrize("rows", [0, 1, 2, 3, 4, 5, 8])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_file_is_read_from_its_end_whatever_its_length(
    tmp_path: Path, encoding: str, rows: int, end: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(csv_lines, "STRETCH", 3)
    lines = ["count,time,csh,Maß", *(f"{n},24.11.2026 10:0{n}:00,5.{n},ü" for n in reversed(range(rows)))]
    content = (end.join(lines) + end).encode(encoding)
    encoding = encoding.removesuffix("-sig")
    found = imported(tmp_path, content, newest_first=True, encoding=encoding)

    assert [shot.counter for shot in shots(found)] == list(range(rows))


def test_a_bad_row_of_a_file_read_from_its_end_names_its_line(tmp_path: Path) -> None:
    found = imported(tmp_path, PLAIN.replace("5.2", "much"), newest_first=True)

    assert [r.position for r in found if isinstance(r, Refusal)] == ["press.csv:3"]
    assert [r.counter for r in found if isinstance(r, Shot)] == [3, 1]


def test_rows_of_empty_cells_are_passed_over_where_the_profile_says_so(tmp_path: Path) -> None:
    content = PLAIN + ",,\n , ,\n"

    assert cushions(imported(tmp_path, content, skip_blank_rows=True)) == [5.1, 5.2, 5.3]
    assert len([r for r in imported(tmp_path, content) if isinstance(r, Refusal)]) == 2


def test_a_delimiter_too_many_at_the_end_of_rows_or_header_loses_nothing(tmp_path: Path) -> None:
    assert cushions(imported(tmp_path, PLAIN.replace("5.1", "5.1,"))) == [5.1, 5.2, 5.3]
    assert cushions(imported(tmp_path, PLAIN.replace("csh", "csh,"))) == [5.1, 5.2, 5.3]


def test_a_decimal_comma_in_quotes_is_read_between_commas(tmp_path: Path) -> None:
    content = 'count,time,csh\n1,24.11.2026 10:00:00,"5,1"\n'

    assert cushions(imported(tmp_path, content, decimal_mark=",", quoted_decimals=True)) == [5.1]


def test_a_column_that_shares_its_name_is_named_by_its_number(tmp_path: Path) -> None:
    content = "count,time,T,T\n1,24.11.2026 10:00:00,200,210\n"
    values = [{"key": "barrel_temperature.1", "column": 3}, {"key": "barrel_temperature.2", "column": 4}]
    (shot,) = shots(imported(tmp_path, content, values=values))

    assert shot.values == {"barrel_temperature.1": 200.0, "barrel_temperature.2": 210.0}


def test_a_factor_comes_before_the_unit(tmp_path: Path) -> None:
    values = [{"key": "peak_melt_pressure", "column": "csh", "unit": "bar", "factor": 10}]
    first, *_ = shots(imported(tmp_path, PLAIN, values=values))

    assert first.values["peak_melt_pressure"] == pytest.approx(5.1)
    assert first.originals["peak_melt_pressure"] == (51.0, "bar")


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("24.11.2026 10.05.00", 10, 5),
        ("24.11.2026 10.05", 10, 5),
        ("24/11/26 10:05:00", 10, 5),
        ("24/11/2026 12:05:00 AM", 0, 5),
        ("24/11/2026 12:05 PM", 12, 5),
        ("24/11/2026 1:05:00 pm", 13, 5),
        ("24/11/2026 01:05:00 a.m.", 1, 5),
    ],
)
def test_dotted_times_two_digit_years_and_halves_of_the_day(
    tmp_path: Path, text: str, hour: int, minute: int
) -> None:
    # Midnight and noon as 12 AM and 12 PM: common practice, no source.
    now = datetime(2026, 11, 24, 14, 0, tzinfo=UTC)
    path = tmp_path / "press.csv"
    path.write_text(f"count,time,csh\n1,{text},5.1\n")
    profile = ShotProfile.model_validate(BASE)
    (shot,) = shots(list(read(path, profile, Import(site="lowland", now=now, received_at=now))))

    assert shot.ended_at == datetime(2026, 11, 24, hour, minute, tzinfo=UTC)


def test_thirteen_in_the_afternoon_is_no_time(tmp_path: Path) -> None:
    content = "count,time,csh\n1,24.11.2026 13:00 PM,5.1\n"

    assert [r.reason for r in imported(tmp_path, content) if isinstance(r, Refusal)] == ["wrong_type"]


CAVITIES: dict[str, Any] = {
    "cavity_column": "cav",
    "values": [
        {"key": "cushion", "column": "csh", "unit": "mm"},
        {"key": "part_weight", "column": "weight", "per_cavity": True},
    ],
}
TWO = (
    "count,time,csh,cav,weight\n"
    "7,24.11.2026 10:00:00,5.1,1,174.2\n7,24.11.2026 10:00:01,5.1,2,173.9\n"
    "8,24.11.2026 10:01:00,5.2,1,174.3\n8,24.11.2026 10:01:00,5.2,2,\n"
)


def test_the_rows_of_two_cavities_are_one_shot(tmp_path: Path) -> None:
    first, second = shots(imported(tmp_path, TWO, **CAVITIES))

    assert (first.counter, second.counter) == (7, 8)
    assert first.ended_at == datetime(2026, 11, 24, 10, 0, 1, tzinfo=UTC)
    assert first.values == {"cushion": 5.1, "part_weight.1": 174.2, "part_weight.2": 173.9}
    assert first.units == {"part_weight.1": "g", "part_weight.2": "g"}
    assert second.not_written == ("part_weight.2",)


def test_two_cavities_newest_first_without_times_are_counted_by_shot(tmp_path: Path) -> None:
    head, *rows = TWO.splitlines(keepends=True)
    time = {"start": datetime(2026, 1, 1, tzinfo=UTC), "interval_s": 60}
    content = head + "".join(reversed(rows))
    found = shots(imported(tmp_path, content, time=time, newest_first=True, **CAVITIES))

    assert [(shot.counter, shot.ended_at.minute) for shot in found] == [(7, 0), (8, 1)]


def test_a_count_that_comes_again_hours_later_is_another_shot(tmp_path: Path) -> None:
    head, row = TWO.splitlines()[0], "7,24.11.2026 {}:00:00,5.1,{},174.2\n"
    content = f"{head}\n{row.format('08', 1)}{row.format('08', 2)}{row.format('10', 1)}{row.format('10', 2)}"
    first, second = shots(imported(tmp_path, content, **CAVITIES))

    assert (first.counter, second.counter) == (7, 7)
    assert second.ended_at - first.ended_at == timedelta(hours=2)


def test_a_value_of_the_shot_that_differs_between_its_cavities_refuses_the_row(tmp_path: Path) -> None:
    found = imported(tmp_path, TWO.replace("10:00:01,5.1", "10:00:01,6.1"), **CAVITIES)

    (refusal,) = (r for r in found if isinstance(r, Refusal))
    assert "per_cavity" in refusal.remedy
    assert [r.counter for r in found if isinstance(r, Shot)] == [7, 8]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"values": [{"key": "cushion", "column": "csh", "factor": 0}]}, "factor"),
        ({"values": [{"key": "cushion", "column": "csh", "per_cavity": True}]}, "cavity_column"),
        (
            {
                "cavity_column": "c", "counter_column": None,
                "time": {"start": datetime(2026, 1, 1, tzinfo=UTC), "interval_s": 60},
            },
            "counter_column",
        ),
    ],
)
def test_a_profile_that_cannot_work_says_why(changes: dict[str, Any], word: str) -> None:
    with pytest.raises(ValidationError, match=word):
        ShotProfile.model_validate({**BASE, **changes})
