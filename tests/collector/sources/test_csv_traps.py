"""What is easily misread in a CSV file, held against what a person reads in the same file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from collector.contract.mapping import AnyProfile, GaugingProfile, ShotProfile
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
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
    profile = adapter.validate_python({**BASE, **changes})
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
