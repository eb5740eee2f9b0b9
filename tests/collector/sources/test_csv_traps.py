"""What is easily misread in a CSV file, held against what a person reads in the same file."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from collector.contract.mapping import AnyProfile, GaugingProfile, ShotProfile
from collector.contract.messages import RunMessage
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import csv_block, csv_rows
from collector.sources.csv_file import Import, Record, read

NOW = datetime(2026, 11, 24, 12, 0, tzinfo=UTC)
BASE: dict[str, Any] = {
    "kind": "shots", "press": "P1", "delimiter": ";", "decimal_mark": ",", "counter_column": "Shot",
    "time": {"columns": ["Time"], "order": "day-first", "zone": "Europe/Berlin"},
    "values": [{"key": "cushion", "column": "Csh"}],
}  # fmt: skip
HEAD = "Shot;Time;Csh\n"


def imported(folder: Path, content: str | bytes, **changes: Any) -> list[Record]:
    path = folder / "press.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    adapter: TypeAdapter[ShotProfile | GaugingProfile] = TypeAdapter(AnyProfile)
    told = {key: value for key, value in {**BASE, **changes}.items() if value is not None}
    profile = adapter.validate_python(told)
    return list(read(path, profile, Import(site="lowland", now=NOW, received_at=NOW)))


def shots(records: list[Record]) -> list[Shot]:
    return [record for record in records if isinstance(record, Shot)]


def refusals(records: list[Record]) -> list[Refusal]:
    return [record for record in records if isinstance(record, Refusal)]


@pytest.mark.parametrize("odd_row", ["", "4,x,6\n"])
def test_a_row_of_a_file_without_header_may_read_like_the_numbers_of_its_columns(
    tmp_path: Path, odd_row: str
) -> None:
    found = imported(
        tmp_path, "1,2,3\n2,2,3\n" + odd_row, delimiter=",", decimal_mark=".", header_rows=0, column_count=3,
        counter_column=1, values=[{"key": "cushion", "column": 2}],
        time={"start": "2026-11-24T10:00:00Z", "interval_s": 60},
    )  # fmt: skip

    assert [shot.counter for shot in shots(found)] == [1, 2]


def test_a_count_with_points_between_its_thousands_is_no_count_of_one(tmp_path: Path) -> None:
    found = imported(tmp_path, HEAD + "1.000;24.11.2026 10:00:00;6,1\n1001;24.11.2026 10:01:00;6,1\n")

    assert [shot.counter for shot in shots(found)] == [1001]
    assert [each.reason for each in refusals(found)] == ["wrong_type"]


def test_a_spreadsheet_writes_a_whole_count_with_its_own_decimal_mark(tmp_path: Path) -> None:
    (shot,) = shots(imported(tmp_path, HEAD + "251,0;24.11.2026 10:00:00;6,1\n"))

    assert shot.counter == 251


def test_an_offset_that_the_format_reads_is_not_overruled_by_the_zone(tmp_path: Path) -> None:
    time = {"columns": ["Time"], "format": "%d.%m.%Y %H:%M:%S %z", "zone": "America/Chicago"}
    (shot,) = shots(imported(tmp_path, HEAD + "1;24.11.2026 10:00:00 +0100;6,1\n", time=time))

    assert shot.ended_at == datetime(2026, 11, 24, 9, 0, tzinfo=UTC)


def test_a_format_that_would_lose_the_zone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValidationError, match="use %z, or zone"):
        imported(tmp_path, HEAD, time={"columns": ["Time"], "format": "%d.%m.%Y %H:%M:%S %Z"})


# In Berlin 2 h to 3 h comes twice on 25 October 2026: summer time ends at 01:00 UTC on the last Sunday of
# October (directive 2000/84/EC, article 3; from memory).
AUTUMN = [
    ("01:59:00", (23, 59, 0)), ("02:30:00", (0, 30, 0)), ("02:59:30", (0, 59, 30)), ("02:00:30", (1, 0, 30)),
    ("02:30:00", (1, 30, 0)), ("02:59:30", (1, 59, 30)), ("03:00:30", (2, 0, 30)),
]  # fmt: skip


@pytest.mark.parametrize("way", ["in blocks", "row by row", "a block that is read again", "newest first"])
@pytest.mark.parametrize("written", ["25.10.2026 {}", "2026-10-25 {}"])
def test_the_hour_that_a_local_clock_shows_twice_is_told_by_the_rows_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str, written: str
) -> None:
    rows = [f"{number};{written.format(clock)};6,1\n" for number, (clock, _) in enumerate(AUTUMN)]
    changes: dict[str, Any] = {"newest_first": way == "newest first"}
    if written.startswith("2026"):
        changes["time"] = {"columns": ["Time"], "order": "iso", "zone": "Europe/Berlin"}
    if way == "row by row":
        monkeypatch.setattr(csv_block.BlockReader, "read", lambda *_: None)
    if way == "a block that is read again":
        rows.append("7;25.10.2026 03:01:30;much\n")
    if way == "newest first":
        rows = rows[::-1]
    if way == "in blocks":
        monkeypatch.setattr(csv_rows, "BLOCK", 2)
    found = shots(imported(tmp_path, HEAD + "".join(rows), **changes))

    expected = [(hour, minute, second) for _, (hour, minute, second) in AUTUMN]
    assert [(each.ended_at.hour, each.ended_at.minute, each.ended_at.second) for each in found] == expected


# In Berlin 2 h to 3 h is left out on 29 March 2026, the last Sunday of March (directive 2000/84/EC,
# article 2; from memory).
@pytest.mark.parametrize("written", ["29.03.2026 {}", "2026-03-29 {}"])
@pytest.mark.parametrize("clock", ["02:00:00", "02:59:59"])
def test_a_time_that_clocks_leave_out_is_refused_with_its_zone(
    tmp_path: Path, written: str, clock: str
) -> None:
    clocks = enumerate(["01:59:59", clock, "03:00:00"])
    rows = "".join(f"{number};{written.format(each)};6,1\n" for number, each in clocks)
    order = "iso" if written.startswith("2026") else "day-first"
    time = {"columns": ["Time"], "order": order, "zone": "Europe/Berlin"}
    found = imported(tmp_path, HEAD + rows, time=time)

    (refusal,) = refusals(found)
    assert "is a time that clocks in Europe/Berlin leave out" in refusal.detail
    first, last = shots(found)
    assert last.ended_at - first.ended_at == timedelta(seconds=1)


def test_a_time_that_says_its_offset_needs_no_telling(tmp_path: Path) -> None:
    rows = "1;2026-10-25T02:59:00+02:00;6,1\n2;2026-10-25T02:10:00+02:00;6,1\n"
    time = {"columns": ["Time"], "order": "iso", "zone": "Europe/Berlin"}
    first, second = shots(imported(tmp_path, HEAD + rows, time=time))

    assert first.ended_at - second.ended_at == timedelta(minutes=49)


@pytest.mark.parametrize("odd_row", ["", ";P1;24.11.2026 10:02:00;much\n"])
def test_a_run_of_several_presses_is_opened_and_closed_on_each(tmp_path: Path, odd_row: str) -> None:
    rows = "1;P1;24.11.2026 10:00:00;6,1\n1;P2;24.11.2026 10:00:30;6,1\n2;P1;24.11.2026 10:01:00;6,1\n"
    content = "Shot;Press;Time;Csh\n" + rows + odd_row
    found = imported(tmp_path, content, press=None, press_column="Press", run="R-1")

    told = [(each.press, getattr(each, "action", "shot")) for each in found if not isinstance(each, Refusal)]
    assert told == [
        ("P1", "open"), ("P1", "shot"), ("P2", "open"), ("P2", "shot"), ("P1", "shot"), ("P1", "close"),
        ("P2", "close"),
    ]  # fmt: skip
    ended = {each.press: each.ended_at for each in shots(found)}
    assert {each.press: each.at for each in found if isinstance(each, RunMessage)} == ended


@pytest.mark.parametrize("cell", ["   ", " - ", "-"])
def test_a_cell_padded_with_spaces_is_as_empty_as_without(tmp_path: Path, cell: str) -> None:
    (shot,) = shots(imported(tmp_path, f"{HEAD}1;24.11.2026 10:00:00;{cell}\n", missing=["", "-"]))

    assert (shot.values, shot.not_written) == ({}, ("cushion",))
    gauged = imported(
        tmp_path, f"Mark;Dome\nA7;{cell}\nA8;2,7\n", kind="gaugings", link="mark", mark_column="Mark",
        counter_column=None, time=None, characteristics=[{"key": "dome", "column": "Dome"}],
        missing=["", "-"], values=None,
    )  # fmt: skip
    assert [getattr(each, "disc_mark", each) for each in gauged] == ["A8"]


def test_files_put_one_after_the_other_with_their_byte_order_marks_lose_nothing(tmp_path: Path) -> None:
    first, second = HEAD + "1;24.11.2026 10:00:00;6,1\n", HEAD + "2;24.11.2026 10:01:00;6,1\n"
    headless = "\ufeff3;24.11.2026 10:02:00;6,1\n\ufeffx;24.11.2026 10:02:00;6,1\n"
    found = imported(tmp_path, "\ufeff" + first + "\ufeff" + second + headless)

    assert [shot.counter for shot in shots(found)] == [1, 2, 3]
    assert [each.raw for each in refusals(found)] == ["\ufeffx;24.11.2026 10:02:00;6,1\n".encode()]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "UTF8", "u8", "latin-1", "utf_16_le", "UTF-16LE"])
def test_a_refused_row_has_its_own_bytes_however_its_encoding_is_named(tmp_path: Path, encoding: str) -> None:
    rows = "1;24.11.2026 10:00:00;höchst\n2;24.11.2026 10:01:00;6,1\n"
    found = imported(tmp_path, (HEAD + rows).encode(encoding), encoding=encoding)

    assert [shot.counter for shot in shots(found)] == [2]
    assert [each.raw for each in refusals(found)] == [
        "1;24.11.2026 10:00:00;höchst\n".encode(encoding.removesuffix("-sig"))
    ]


def test_a_file_that_was_cut_in_a_sign_of_four_bytes_keeps_the_rows_before_the_cut(tmp_path: Path) -> None:
    rows = "".join(f"{number};24.11.2026 10:00:{number:02};6,1\n" for number in range(3))
    found = imported(tmp_path, (HEAD + rows).encode("utf-32")[:-3], encoding="utf-32")

    assert [shot.counter for shot in shots(found)] == [0, 1]
    assert [each.reason for each in refusals(found)] == ["bad_file"]


@pytest.mark.parametrize("sign", ['"', "\n", "\r", "\0"])
def test_what_can_part_no_cells_is_no_delimiter(tmp_path: Path, sign: str) -> None:
    with pytest.raises(ValidationError, match="cannot be a quote or the end of a line"):
        imported(tmp_path, HEAD, delimiter=sign)
