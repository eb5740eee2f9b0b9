"""A file in a watched folder becomes shots once, whatever happens in between.

What is held against: the rows that this test wrote, and the folders of the operating system.
"""

from __future__ import annotations

import csv
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector import folder_watch, watching
from collector.clock import real_clock
from collector.errors import StoreUnavailable
from collector.folder_watch import FolderWatch
from collector.importing import import_csv
from collector.settings import Settings, load_settings
from collector.settings_folders import WatchedFolder
from collector.sources import profiles
from collector.store import database, imports
from collector.store.tables import refusals, shots

PROFILE = """\
kind = "shots"
press = "P1"
run = "R-1"
delimiter = ";"
counter_column = "Shot"
[time]
columns = ["Time"]
[[values]]
key = "cushion"
column = "Cushion"
"""
HEAD = "Shot;Time;Cushion\n"


def row(counter: int) -> str:
    return f"{counter};2026-05-14T10:{counter // 60:02}:{counter % 60:02}Z;5.{counter % 10}\n"


def content(first: int, last: int) -> str:
    return HEAD + "".join(map(row, range(first, last + 1)))


def counters(engine: sa.Engine) -> list[int]:
    with database.read(engine) as conn:
        return [counter for (counter,) in conn.execute(sa.select(shots.c.counter).order_by(shots.c.id))]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "in").mkdir()
    return tmp_path / "in"


@pytest.fixture
def watch(engine: sa.Engine, folder: Path) -> FolderWatch:
    watched = WatchedFolder(path=folder, profile="mine.toml", settle_s=1)
    profile = profiles.parse(PROFILE, "mine.toml")
    return FolderWatch(engine, Settings(), watched, profile, real_clock())


def look(watch: FolderWatch | watching.ConfiguredWatch, *, at_s: float = 0.0) -> int:
    """Twice, so that a file has settled at the second look."""
    going = threading.Event()
    return watch.look(at_s, going) + watch.look(at_s + 2, going)


def test_a_file_is_imported_once_and_moved_to_done(
    engine: sa.Engine, folder: Path, watch: FolderWatch
) -> None:
    (folder / "a.csv").write_text(content(1, 30))

    assert look(watch) == 1
    assert counters(engine) == list(range(1, 31))
    assert not (folder / "a.csv").exists()
    assert (folder / "done/a.csv").read_text() == content(1, 30)
    assert look(watch, at_s=10) == 0


def test_a_file_with_bad_rows_is_kept_with_the_list_of_them(
    engine: sa.Engine, folder: Path, watch: FolderWatch
) -> None:
    bad = '4;2026-05-14T10:00:04Z;=HYPERLINK("x")\n'
    (folder / "a.csv").write_text(content(1, 3) + bad + row(5))

    look(watch)

    assert counters(engine) == [1, 2, 3, 5]
    assert (folder / "refused/a.csv").exists()
    with (folder / "refused/a.csv.refusals.csv").open(encoding="utf-8-sig", newline="") as file:
        head, listed = csv.reader(file)
    assert head == ["position", "reason", "what is wrong", "what to do", "row"]
    assert listed[0] == "a.csv:5"
    assert listed[1] == "wrong_type"
    assert listed[4] == bad.rstrip("\n")  # it begins with the counter, so it is no formula
    assert [path.name for path in (folder / "refused").iterdir() if path.name.startswith(".")] == []
    with database.read(engine) as conn:
        assert conn.execute(sa.select(refusals.c.raw)).scalar_one().decode() == bad


def test_a_mended_file_that_is_put_back_brings_only_what_was_missing(
    engine: sa.Engine, folder: Path, watch: FolderWatch
) -> None:
    (folder / "a.csv").write_text(content(1, 3) + "4;2026-05-14T10:00:04Z;?\n")
    look(watch)
    (folder / "a.csv").write_text(content(1, 4))

    look(watch, at_s=10)

    assert counters(engine) == [1, 2, 3, 4]
    assert (folder / "done/a.csv").exists()


def test_a_file_that_was_stored_but_not_moved_is_only_moved(
    engine: sa.Engine, folder: Path, watch: FolderWatch
) -> None:
    path = folder / "a.csv"
    path.write_text(content(1, 30))
    profile = profiles.parse(PROFILE, "mine.toml")
    import_csv(engine, Settings(), path, profile, profile_name="mine.toml", clock=real_clock())

    look(watch)

    assert counters(engine) == list(range(1, 31))
    assert (folder / "done/a.csv").exists()


def test_a_file_that_grows_while_it_is_imported_is_taken_again(
    engine: sa.Engine, folder: Path, watch: FolderWatch, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "a.csv").write_text(content(1, 3))

    def and_grow(*args: object, **named: object) -> object:
        done = import_csv(*args, **named)  # type: ignore[arg-type]
        monkeypatch.undo()
        with (folder / "a.csv").open("a") as file:
            file.write(row(4))
        return done

    monkeypatch.setattr(folder_watch, "import_csv", and_grow)
    look(watch)
    assert (folder / "a.csv").exists()

    look(watch, at_s=10)
    assert counters(engine) == [1, 2, 3, 4]
    assert (folder / "done/a.csv").exists()


def test_a_file_that_is_written_on_after_it_was_moved_is_told_until_it_is_put_back(
    engine: sa.Engine, folder: Path, watch: FolderWatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A press that keeps its file open writes on wherever the file was moved: rename(2)."""
    with (folder / "a.csv").open("w") as kept_open:
        kept_open.write(content(1, 3))
        kept_open.flush()
        look(watch)
        assert watch.troubles() == []
        kept_open.write(row(4))

    look(watch, at_s=10)
    look(watch, at_s=20)
    (said,) = watch.troubles()
    assert "done/a.csv was written on after it was imported and moved: put it back" in said
    assert caplog.text.count("was written on") == 1

    (folder / "done/a.csv").rename(folder / "a.csv")
    look(watch, at_s=30)
    assert (watch.troubles(), counters(engine)) == ([], [1, 2, 3, 4])


def test_while_the_store_is_away_the_files_wait_and_it_is_said_once(
    engine: sa.Engine,
    folder: Path,
    watch: FolderWatch,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    (folder / "a.csv").write_text(content(1, 3))
    (folder / "b.csv").write_text(content(4, 6))

    def away(*_args: object, **_named: object) -> object:
        raise StoreUnavailable("the database is locked")

    monkeypatch.setattr(folder_watch, "import_csv", away)
    assert look(watch) + look(watch, at_s=10) == 0
    assert caplog.messages == [f"the files in {folder} wait: the database is locked"]
    assert watch.troubles() == caplog.messages
    assert (folder / "a.csv").exists()
    monkeypatch.undo()

    assert look(watch, at_s=20) == 2
    assert watch.troubles() == []
    assert counters(engine) == [1, 2, 3, 4, 5, 6]


def test_a_file_that_cannot_be_moved_is_named_once_and_not_taken_again(
    folder: Path, watch: FolderWatch, caplog: pytest.LogCaptureFixture
) -> None:
    (folder / "done").write_text("a file where the folder should be")
    (folder / "a.csv").write_text(content(1, 3))

    look(watch)
    assert look(watch, at_s=10) == 0

    (said,) = caplog.messages
    assert "was imported (3 shots stored) but cannot be moved to done" in said
    assert watch.troubles() == [said]
    (folder / "a.csv").unlink()
    assert watch.troubles() == []


def test_what_no_code_can_digest_stays_and_the_files_after_it_are_taken(
    engine: sa.Engine, folder: Path, watch: FolderWatch, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "a.csv").write_text(content(1, 3))
    os.utime(folder / "a.csv", (1, 1))
    (folder / "b.csv").write_text(content(4, 6))

    def broken(engine_: sa.Engine, settings: Settings, path: Path, *rest: object, **named: object) -> object:
        if path.name == "a.csv":
            raise RuntimeError("nobody thought of this")
        return import_csv(engine_, settings, path, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(folder_watch, "import_csv", broken)
    look(watch)

    assert counters(engine) == [4, 5, 6]
    assert (folder / "a.csv").exists()


def test_links_out_of_the_folder_are_named_once(
    engine: sa.Engine, folder: Path, watch: FolderWatch, caplog: pytest.LogCaptureFixture
) -> None:
    (folder.parent / "outside.csv").write_text(content(1, 3))
    (folder / "a.csv").symlink_to("../outside.csv")

    look(watch)
    look(watch, at_s=10)

    assert counters(engine) == []
    assert caplog.messages == [f"a.csv in {folder} is a link; copy the file itself."]
    assert watch.troubles() == []


@pytest.mark.parametrize("pattern", ["../*.csv", "sub/*.csv", "..", "", "a\\b"])
def test_a_pattern_that_leads_out_of_the_folder_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match="may only name files of the folder"):
        WatchedFolder(path=Path("in"), profile="x", pattern=pattern)


def test_the_settings_name_folder_and_profile_beside_their_file(
    engine: sa.Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = tmp_path / "shop"
    (shop / "in").mkdir(parents=True)
    (shop / "mine.toml").write_text(PROFILE)
    (shop / "in/a.csv").write_text(content(1, 3))
    (shop / "evenrun.toml").write_text('[[folders]]\npath = "in"\nprofile = "mine.toml"\nsettle_s = 0.01\n')
    monkeypatch.setenv("EVENRUN_SETTINGS", str(shop / "evenrun.toml"))
    taken = threading.Event()

    with watching.watching(
        watching.open_watches(engine, load_settings(), real_clock()), imported=taken.set
    ):
        assert taken.wait(20)

    assert counters(engine) == [1, 2, 3]
    assert not [each for each in threading.enumerate() if each.name == "folders"]


def test_a_folder_without_its_profile_is_named_and_watched_once_the_profile_is_there(
    engine: sa.Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    for name in ("in", "late"):
        (tmp_path / name).mkdir()
    (tmp_path / "mine.toml").write_text(PROFILE)
    entries = [("in", "mine.toml"), ("late", "late.toml")]
    text = "".join(
        f'[[folders]]\npath = "{path}"\nprofile = "{profile}"\nsettle_s = 1\n' for path, profile in entries
    )
    (tmp_path / "evenrun.toml").write_text(text)
    monkeypatch.setenv("EVENRUN_SETTINGS", str(tmp_path / "evenrun.toml"))
    first, second = watching.open_watches(engine, load_settings(), real_clock())
    (tmp_path / "in/a.csv").write_text(content(1, 3))
    (tmp_path / "late/b.csv").write_text(content(4, 6))

    assert [look(each) for each in (first, second)] == [1, 0]
    assert first.troubles() == []
    (said,) = second.troubles()
    assert said.startswith("[[folders]] number 2, path late, is not watched until its setting profile is")
    assert "late.toml" in said
    assert [each for each in caplog.messages if "number 2" in each] == [said]

    (tmp_path / "late.toml").write_text(PROFILE)
    assert look(second, at_s=10) == 1
    assert second.troubles() == []
    assert counters(engine) == list(range(1, 7))


def test_a_file_that_another_process_imports_waits_and_the_others_are_taken(
    engine: sa.Engine, folder: Path, watch: FolderWatch
) -> None:
    with database.write(engine) as conn:
        other = imports.begin(conn, "a.csv", b"1", "mine.toml", at=real_clock().now())
    (folder / "a.csv").write_text(content(1, 3))
    (folder / "b.csv").write_text(content(4, 6))

    assert look(watch) == 1
    assert counters(engine) == [4, 5, 6]
    assert "a.csv waits" in watch.troubles()[0]

    with database.write(engine) as conn:
        imports.finish(conn, other, accepted=0, duplicates=0, refused=0)
    assert look(watch, at_s=10) == 1
    assert watch.troubles() == []
    assert counters(engine) == [4, 5, 6, 1, 2, 3]


@contextmanager
def watching_process(folder: Path, url: str) -> Iterator[subprocess.Popen[bytes]]:
    """`evenrun import --watch in` in a folder; what it says goes to the file `said`. Killed at the end."""
    words = ["import", "--watch", "in", "--profile", "mine.toml"]
    command = [sys.executable, "-c", f"from collector.cli import main; main({words})"]
    environment = {**os.environ, "EVENRUN_DATABASE_URL": url, "OPENBLAS_NUM_THREADS": "1"}
    with (folder / "said").open("wb") as said:
        process = subprocess.Popen(command, cwd=folder, env=environment, stdout=said, stderr=said)
        try:
            yield process
        finally:
            process.kill()
            process.wait()


def until(true: Callable[[], bool], folder: Path, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 120
    while not true():
        assert process.poll() is None, (folder / "said").read_text()
        assert time.monotonic() < deadline, (folder / "said").read_text()
        time.sleep(0.02)


@pytest.mark.slow
def test_killed_in_the_midst_of_a_file_it_goes_on_without_losing_or_doubling(tmp_path: Path) -> None:
    """SIGKILL as soon as some rows are stored; the second start ends with every row once."""
    (tmp_path / "in").mkdir()
    (tmp_path / "mine.toml").write_text(PROFILE)
    times = [datetime.fromtimestamp(1.7e9 + 60 * number, UTC).isoformat() for number in range(6_000)]
    rows = (f"{number};{time_};5.0\n" for number, time_ in enumerate(times))
    (tmp_path / "in/a.csv").write_text(HEAD + "".join(rows))
    url = f"sqlite:///{tmp_path}/store.db"
    engine = database.open_engine(url)
    database.upgrade(engine)

    with watching_process(tmp_path, url) as first:
        until(lambda: len(counters(engine)) > 0, tmp_path, first)
    stored = len(counters(engine))
    with watching_process(tmp_path, url) as second:
        until((tmp_path / "in/done/a.csv").exists, tmp_path, second)
        second.send_signal(signal.SIGTERM)
        assert second.wait(60) == 0

    assert 0 < stored < 6_000
    assert sorted(counters(engine)) == list(range(6_000))
    assert f"{stored} known before" in (tmp_path / "said").read_text()
    engine.dispose()


@pytest.fixture(autouse=True)
def _told(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.WARNING, "evenrun.folders")
