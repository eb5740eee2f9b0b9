"""What may be done with an import while it runs, and how another process knows that it does.

The rows are those that this test wrote into the file; what the press has is read from the store.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path
from threading import Event

import pytest
import sqlalchemy as sa

from collector import importing
from collector.actions.imports import name_run, undo
from collector.cli.imports import imports as command
from collector.clock import ServiceClock
from collector.errors import ImportEnded, ImportRunning, NotAllowed
from collector.importing import Imported, import_csv
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database, imports
from collector.store.tables import imports as imports_table
from collector.store.tables import presses, shots
from tests.collector.pipelines import NOW

CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
ROWS = 60
PROFILE = """\
kind = "shots"
press = "P1"
counter_column = "Shot"
[time]
columns = ["Time"]
[[values]]
key = "cushion"
column = "Cushion"
"""


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importing, "BATCH", 20)


@pytest.fixture
def take(engine: sa.Engine, tmp_path: Path) -> Callable[..., Imported]:
    """Import a file of 60 rows; `during` is called after each 20."""
    (tmp_path / "press.toml").write_text(PROFILE)
    rows = (f"{number},2026-05-14T10:{number:02}:00Z,5.{number % 10}\n" for number in range(ROWS))
    (tmp_path / "export.csv").write_text("Shot,Time,Cushion\n" + "".join(rows))
    profile = profiles.load(str(tmp_path / "press.toml"))

    def take(during: Callable[[], object] = lambda: None) -> Imported:
        def stored(_rows: int) -> None:
            during()

        return import_csv(
            engine, Settings(), tmp_path / "export.csv", profile, profile_name="press.toml", clock=CLOCK,
            progress=stored,
        )  # fmt: skip

    return take


def of_press(engine: sa.Engine) -> list[int]:
    query = sa.select(shots.c.counter).join(presses, presses.c.id == shots.c.press_id)
    with database.read(engine) as conn:
        return list(conn.execute(query.where(presses.c.name == "P1").order_by(shots.c.counter)).scalars())


def listed(engine: sa.Engine) -> list[imports.ImportRow]:
    with database.read(engine) as conn:
        return imports.listed(conn, last=9)


def begin(engine: sa.Engine) -> int:
    with database.write(engine) as conn:
        return imports.begin(conn, "export.csv", b"2", "press.toml", at=NOW)


def stands_still(engine: sa.Engine) -> None:
    """The process that imports is stopped for long, as by SIGSTOP or a machine that sleeps."""
    with database.write(engine) as conn:
        [row] = imports.listed(conn, last=1)
        assert row.alive_at is not None
        long_ago = row.alive_at - imports.CUT_OFF_AFTER
        conn.execute(sa.update(imports_table).values(alive_at=long_ago))


def test_one_that_is_undone_while_it_runs_ends_there_and_leaves_nothing(
    engine: sa.Engine, take: Callable[..., Imported]
) -> None:
    def take_back() -> None:
        undo(engine, 1, who="technician 1", why="of another press", clock=CLOCK)

    with pytest.raises(ImportEnded, match=r"import 1 of export.csv was undone by technician 1 while it ran"):
        take(take_back)

    assert of_press(engine) == []
    assert [(row.accepted, row.undone_by) for row in listed(engine)] == [(20, "technician 1")]
    assert take().accepted == ROWS
    assert of_press(engine) == list(range(ROWS))


def test_one_that_is_undone_before_its_last_word_is_not_said_to_be_there(
    engine: sa.Engine, take: Callable[..., Imported]
) -> None:
    def take_back_at_the_end() -> None:
        if len(of_press(engine)) == ROWS:
            undo(engine, 1, who="technician 1", why="of another press", clock=CLOCK)

    with pytest.raises(ImportEnded):
        take(take_back_at_the_end)

    assert [(row.accepted, row.undone_at) for row in listed(engine)] == [(ROWS, NOW)]


@pytest.mark.parametrize("after", [1, 2, 3], ids="{} transactions".format)
def test_an_undo_beside_it_loses_track_of_no_row(
    engine: sa.Engine, take: Callable[..., Imported], after: int
) -> None:
    """In a thread of its own, at whatever moment it comes: in the midst of rows, between them, at the end."""
    stored, may_undo = count(1), Event()

    def tell() -> None:
        if next(stored) == after:
            may_undo.set()

    with ThreadPoolExecutor(1) as beside:
        running = beside.submit(take, tell)
        assert may_undo.wait(60)
        done = undo(engine, 1, who="technician 1", why="of another press", clock=CLOCK)
    failed = running.exception()

    assert failed is None or isinstance(failed, ImportEnded)
    assert done.shots >= 20 * after
    assert of_press(engine) == []
    assert [(row.accepted, row.undone_at) for row in listed(engine)] == [(done.shots, NOW)]


def test_its_run_is_named_when_it_has_ended(engine: sa.Engine, take: Callable[..., Imported]) -> None:
    def too_early() -> None:
        with pytest.raises(NotAllowed, match="running still"):
            name_run(engine, 1, run="R-1", who="technician 1", why="forgotten", clock=CLOCK)

    take(too_early)

    [done] = name_run(engine, 1, run="R-1", who="technician 1", why="forgotten", clock=CLOCK)
    assert done.shots == ROWS


def test_another_of_the_same_name_is_refused_until_it_has_ended(
    engine: sa.Engine, take: Callable[..., Imported]
) -> None:
    def beside() -> None:
        with pytest.raises(ImportRunning, match=r"export\.csv is being imported by another process"):
            begin(engine)

    take(beside)

    assert [row.accepted for row in listed(engine)] == [ROWS]
    begin(engine)


def test_one_that_ends_by_an_error_stands_in_nobodys_way(
    engine: sa.Engine, take: Callable[..., Imported]
) -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        take(interrupt)

    assert take().accepted == ROWS - 20
    assert [row.accepted for row in listed(engine)] == [20, ROWS - 20]


def test_one_that_stood_still_gives_way_and_says_so_when_it_wakes(
    engine: sa.Engine, take: Callable[..., Imported]
) -> None:
    def another_begins() -> None:
        stands_still(engine)
        begin(engine)

    with pytest.raises(ImportEnded, match="stood still"):
        take(another_begins)

    assert [row.accepted for row in listed(engine)] == [20, 0]
    assert of_press(engine) == list(range(20))


@pytest.mark.postgres
def test_of_two_that_begin_at_once_one_does(engine: sa.Engine) -> None:
    """The second waits for the transaction of the first: PostgreSQL by the index, SQLite as one writer."""
    with ThreadPoolExecutor(1) as beside:
        with database.write(engine) as conn:
            imports.begin(conn, "export.csv", b"1", "press.toml", at=NOW)
            second = beside.submit(begin, engine)
        with pytest.raises(ImportRunning):
            second.result()
    assert len(listed(engine)) == 1


def test_the_list_says_that_it_runs(
    engine: sa.Engine,
    database_url: str,
    take: Callable[..., Imported],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("EVENRUN_DATABASE_URL", database_url)

    take(command)
    assert "export.csv as press.toml: is running" in capsys.readouterr().out
    command()
    assert f"{ROWS} rows stored" in capsys.readouterr().out
