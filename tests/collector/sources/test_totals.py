"""Rows that sum up the others are passed over where the profile names their words, and said.

What such rows are called in English and German: common practice, no source.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.clock import real_clock
from collector.contract.refusal import Refusal
from collector.folder_watch import FolderWatch
from collector.importing import import_csv
from collector.settings import Settings
from collector.settings_folders import WatchedFolder
from collector.sources import profiles
from tests.collector.sources.test_inspection_traps import kept, proposed, shots, table

PROFILE = """
kind = "shots"
press = "P1"
delimiter = ";"
total_rows = ["Summe", "mittelwert"]
time = {columns = ["time"]}
values = [{key = "cushion", column = "csh"}]
"""
ROWS = "".join(f"{n};2026-11-24T10:{n:02}:00Z;6.{n:02}\n" for n in range(40))
FOOT = "Summe:;;246\nMITTELWERT;2026-11-24T10:40:00Z;6.15\n;Summe\n"


def german(number: int) -> str:
    return f"{number};24.11.2026 10:{number:02}:00;6,{number:02}"


def american(number: int) -> str:
    return f"2026-11-24 10:{number:02}:00;{number};0.2{number % 9 + 1}"


@pytest.mark.parametrize(
    ("head", "row", "foot"),
    [
        ("Schuss;Zeit;Polster mm", german, "Summe;;246,00\nMittelwert;;6,15\nMin;;5,99\nMax;;6,39\n"),
        ("Schuss;Zeit;Polster mm", german, "Summe;;246,00;;\nMin.:;5,99\n"),
        ("Time;Shot;Cushion in", american, "Total;40;9.6\nAverage;20;0.24\n"),
    ],
)
def test_a_proposal_passes_totals_over_and_says_so(
    tmp_path: Path, head: str, row: Callable[[int], str], foot: str
) -> None:
    found, doubts = proposed(tmp_path, table(head, row) + foot)

    assert [each.counter for each in shots(kept(found))] == list(range(40))
    assert any("are taken for totals" in each for each in doubts)
    assert not any("falls" in each or "do not have" in each or "refused" in each for each in doubts)


def test_somebody_called_max_is_no_total(tmp_path: Path) -> None:
    names = ("Max", "Anna", "Ida", "Ole", "Jan", "Eva")
    found, doubts = proposed(
        tmp_path,
        table(
            "Operator;Shot;Time;Cushion mm",
            lambda n: f"{names[n % 6]};{n};2026-11-24 10:{n:02}:00;6.{n:02}",
        ),
    )

    assert len(shots(kept(found))) == 40
    assert not any("totals" in each for each in doubts)


def test_totals_are_counted_and_no_shots_though_their_cells_would_read(
    engine: sa.Engine, tmp_path: Path
) -> None:
    path = tmp_path / "shots.csv"
    path.write_text("n;time;csh\n" + ROWS + FOOT)

    done = import_csv(
        engine, Settings(), path, profiles.parse(PROFILE, "p"), profile_name="p", clock=real_clock()
    )

    assert done.told() == "40 shots stored, 3 rows of totals passed over"


def test_a_watched_file_with_totals_is_done(engine: sa.Engine, tmp_path: Path) -> None:
    (tmp_path / "shots.csv").write_text("n;time;csh\n" + ROWS + FOOT)
    watch = FolderWatch(
        engine, Settings(), WatchedFolder(path=tmp_path, profile="p"), profiles.parse(PROFILE, "p"),
        real_clock(),
    )  # fmt: skip
    for now_s in (0.0, 100.0):
        watch.look(now_s, threading.Event())

    assert [each.name for each in (tmp_path / "done").iterdir()] == ["shots.csv"]


def test_a_word_that_is_not_named_is_refused_as_before(engine: sa.Engine, tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    path.write_text("n;time;csh\n" + ROWS + "Max;;6.4\n")
    refused: list[Refusal] = []

    import_csv(
        engine, Settings(), path, profiles.parse(PROFILE, "p"), profile_name="p", clock=real_clock(),
        refused=refused.append,
    )  # fmt: skip

    assert [each.position for each in refused] == ["shots.csv:42"]
