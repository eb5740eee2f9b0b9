"""Refused rows of a file leave the list once an import of the file reads them, and only then."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.clock import real_clock
from collector.importing import Imported, import_csv
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database, refusals

GOOD = """
kind = "shots"
press = "P1"
delimiter = ";"
decimal_mark = ","
counter_column = "shot"
time = {columns = ["time"]}
values = [{key = "cushion", column = "csh"}]
"""
BAD = GOOD.replace('decimal_mark = ","', 'decimal_mark = "."')
BY_TIME = GOOD.replace('counter_column = "shot"\n', "")


def content(rows: int = 6, first: int = 1) -> str:
    lines = [f"{first + row};2026-11-24T10:{row:02}:00Z;6,{row}1" for row in range(rows)]
    return "\n".join(["shot;time;csh", *lines, ""])


def take(engine: sa.Engine, path: Path, profile: str) -> Imported:
    return import_csv(
        engine, Settings(), path, profiles.parse(profile, "p"), profile_name="p", clock=real_clock()
    )


def states(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return [row.state for row in refusals.kept(conn, state=None)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_rows_that_a_mended_profile_reads_wait_no_more(
    engine: sa.Engine, tmp_path: Path, encoding: str, end: str
) -> None:
    path = tmp_path / "shots.csv"
    path.write_text(content(), encoding=encoding, newline=end)
    said = f'encoding = "{encoding.removesuffix("-sig")}"\n'
    take(engine, path, said + BAD)
    assert states(engine) == ["kept"] * 6

    done = take(engine, path, said + GOOD)

    assert states(engine) == ["replayed"] * 6
    assert done.told() == "6 shots stored, 6 of those refused before are settled"
    take(engine, path, said + BAD)
    assert states(engine) == ["kept"] * 6, "what is refused again waits again"
    assert take(engine, path, said + GOOD).read_later == 6, "also where the shots are known"


def test_a_row_that_was_mended_in_the_file_waits_no_more_and_a_row_that_is_still_wrong_does(
    engine: sa.Engine, tmp_path: Path
) -> None:
    path = tmp_path / "shots.csv"
    broken = content().replace("6,21", "six").replace("6,41", "also")
    path.write_text(broken)
    take(engine, path, GOOD)
    path.write_text(broken.replace("six", "6,21"))

    done = take(engine, path, GOOD)

    assert (done.counts.stored + done.counts.late, done.counts.refused, done.read_later) == (1, 1, 1)
    with database.read(engine) as conn:
        assert [row.position for row in refusals.kept(conn)] == ["shots.csv:6"]


def test_another_file_of_the_same_name_settles_nothing(engine: sa.Engine, tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    path.write_text(content())
    take(engine, path, BAD)
    path.write_text(content(first=101))

    assert take(engine, path, GOOD).read_later == 0
    assert states(engine) == ["kept"] * 6


def test_an_import_that_reads_no_row_settles_nothing(engine: sa.Engine, tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    path.write_text(content())
    take(engine, path, BAD)

    take(engine, path, GOOD.replace('"csh"', '"cushion"'))

    assert states(engine) == ["kept"] * 7, "six rows, and the file that lacks a column"
    take(engine, path, GOOD)
    assert states(engine) == ["replayed"] * 7


def test_rows_behind_the_place_where_a_file_breaks_off_wait_on(engine: sa.Engine, tmp_path: Path) -> None:
    path = tmp_path / "shots.csv"
    whole = content().encode("utf-16")
    path.write_bytes(whole)
    take(engine, path, 'encoding = "utf-16"\n' + BAD)
    path.write_bytes(whole[:-40] + b"\xdc")  # cut within a sign

    take(engine, path, 'encoding = "utf-16"\n' + GOOD)

    assert "kept" in states(engine)


@pytest.mark.parametrize("profile", [GOOD, BY_TIME])
def test_a_row_of_another_shot_at_the_same_line_is_not_the_refused_one(
    engine: sa.Engine, tmp_path: Path, profile: str
) -> None:
    path = tmp_path / "shots.csv"
    path.write_text(content().replace("6,21", "six"))
    take(engine, path, profile)
    lines = content(7).splitlines()
    path.write_text("\n".join([lines[0], lines[7], *lines[1:7], ""]))  # a row more on top

    assert take(engine, path, profile).read_later == 0
