"""Many rows at once are read to the same shots, run messages and refusals as one row after the other.

What is held against: the reading of single rows, which `test_csv_file` holds against what the rows say.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.contract.mapping import ShotProfile
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.sources import csv_block, csv_file, csv_rows
from collector.sources.csv_file import Import, Record, read
from collector.sources.csv_rows import Table

NOW = datetime(2026, 11, 24, tzinfo=UTC)
JOB = Import(site="lowland", now=NOW, received_at=NOW, run="R-1")
HEAD = "Shot;Press;Time;Tray;Cushion;Pmax;Torque;Set"
PROFILE: dict[str, Any] = {
    "kind": "shots", "delimiter": ";", "press": "P1", "press_column": "Press", "counter_column": "Shot",
    "tray_column": "Tray", "missing": ["", "-"],
    "time": {"columns": ["Time"], "order": "day-first"},
    "values": [
        {"key": "cushion", "column": "Cushion"},
        {"key": "peak_melt_pressure", "column": "Pmax", "unit": "bar", "zero_means_not_written": True},
        {"key": "drive_load", "column": "Torque", "unit": "percent", "factor": 0.1},
    ],
    "setpoints": [{"key": "cooling_time", "column": "Set", "unit": "ms"}],
}  # fmt: skip

PLAIN = {
    "Shot": st.integers(0, 10**6).map(str), "Press": st.sampled_from(["", "P2", " P3 "]),
    "Time": st.integers(0, 59).map("14.05.2026 10:00:{:02}".format),
    "Tray": st.sampled_from(["", "41", "A 7"]), "Cushion": st.floats(-9, 9).map(repr),
    "Pmax": st.integers(1, 999).map(str), "Torque": st.sampled_from(["12.5", " 7", "+3.", "1e2"]),
    "Set": st.sampled_from(["36000", "36000.5"]),
}  # fmt: skip
ODD = st.sampled_from(
    ["", "-", "0", "251.0", "x", "1_000", "nan", "-inf", "1e308", "1e999", "5,1", "=1+1", "\udcff", "-5", "٣",
     '"', 'a"b', "  ", "99.99.2026 10:00:00", "14.05.2099 10:00:00", "9" * 20, "y" * 300, "\x07"],
)  # fmt: skip
# Lines that are no plain row: blank, ragged, the header again, empty cells, a quote that is not closed.
LINES = st.sampled_from(["", "  ", "1;2", HEAD, ";;;;;;;", HEAD + ";", '1;P1;"14.05.2026'])


@st.composite
def rows(draw: st.DrawFn) -> str:
    if draw(st.integers(0, 30)) == 0:
        return draw(LINES)
    cells = {name: draw(plain) for name, plain in PLAIN.items()}
    if draw(st.integers(0, 15)) == 0:
        cells[draw(st.sampled_from(list(PLAIN)))] = draw(ODD)
    return ";".join(cells.values())


def both_ways(
    path: Path, profile: ShotProfile, patch: pytest.MonkeyPatch, block: int
) -> tuple[int, list[Record]]:
    """How many blocks were plain, and what the file gives in blocks, which is what it gives row by row."""
    plain: list[bool] = []

    def counted(reader: csv_block.BlockReader, table: Table, first: int) -> list[Shot] | None:
        found = original(reader, table, first)
        plain.append(found is not None)
        return found

    original = csv_block.BlockReader.read
    with patch.context() as context:
        context.setattr(csv_rows, "BLOCK", block)
        context.setattr(csv_block.BlockReader, "read", counted)
        in_blocks = list(read(path, profile, JOB))
    with patch.context() as context:
        context.setattr(csv_block.BlockReader, "read", lambda *_: None)
        one_by_one = list(read(path, profile, JOB))
    assert in_blocks == one_by_one
    return sum(plain), in_blocks


@given(
    lines=st.lists(rows(), min_size=1, max_size=40),
    block=st.integers(1, 9),
    decimal_comma=st.booleans(),
    newest_first=st.booleans(),
    made_up=st.booleans(),
)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_blocks_give_what_single_rows_give(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    *,
    lines: list[str],
    block: int,
    decimal_comma: bool,
    newest_first: bool,
    made_up: bool,
) -> None:
    changes: dict[str, Any] = {"newest_first": newest_first}
    if decimal_comma:
        lines = [line.replace(".", ",", 1) if line.count(".") == 1 else line for line in lines]
        changes["decimal_mark"] = ","
    if made_up:
        changes["time"] = {"start": "2026-05-14T10:00:00Z", "interval_s": 60}
    path = tmp_path / "shots.csv"
    path.write_text("\n".join([HEAD, *lines]) + "\n", encoding="utf-8", errors="surrogateescape")

    both_ways(path, ShotProfile.model_validate({**PROFILE, **changes}), monkeypatch, block)


def write(path: Path, count: int, odd: dict[int, str] | None = None) -> None:
    times = [f"14.05.2026 10:{number // 60:02}:{number % 60:02}" for number in range(count)]
    rows = [
        f"{number};;{time};41;5.{number % 7};74{number % 5};12.5;36000" for number, time in enumerate(times)
    ]
    for place, row in (odd or {}).items():
        rows[place] = row
    path.write_text("\n".join([HEAD, *rows]) + "\n")


def test_plain_rows_are_read_in_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path / "a.csv", 100)

    plain, found = both_ways(tmp_path / "a.csv", ShotProfile.model_validate(PROFILE), monkeypatch, 20)

    assert plain == 5
    assert [shot.counter for shot in found if isinstance(shot, Shot)] == list(range(100))


def test_one_odd_row_costs_only_its_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path / "a.csv", 100, {55: "55;;14.05.2026 10:00:55;41;?;740;12.5;36000"})

    plain, found = both_ways(tmp_path / "a.csv", ShotProfile.model_validate(PROFILE), monkeypatch, 20)

    assert plain == 4
    assert [each.position for each in found if isinstance(each, Refusal)] == ["a.csv:57"]
    assert len([each for each in found if isinstance(each, Shot)]) == 99


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le"])
def test_a_file_of_two_byte_signs_that_was_cut_keeps_the_rows_before_the_cut(
    tmp_path: Path, encoding: str
) -> None:
    write(tmp_path / "a.csv", 30)
    content = (tmp_path / "a.csv").read_text().encode(encoding)
    (tmp_path / "a.csv").write_bytes(content[:-3])
    profile = ShotProfile.model_validate({**PROFILE, "encoding": encoding})

    found = list(csv_file.read(tmp_path / "a.csv", profile, JOB))

    assert len([each for each in found if isinstance(each, Shot)]) == 29
    assert isinstance(found[-2], Refusal)
