"""When a file in a watched folder counts as complete, and what is never taken from it.

What is held against: the file system itself. A writer, a rename and a link are those of the operating system.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector.errors import UserError
from collector.sources.folder import Arrivals, Arrived, set_aside


def names(found: list[Arrived]) -> list[str]:
    return [each.path.name for each in found]


def as_it_is(path: Path) -> Arrived:
    found = path.stat()
    return Arrived(path, (found.st_size, found.st_mtime_ns))


@pytest.fixture
def arrivals(tmp_path: Path) -> Arrivals:
    return Arrivals(tmp_path, "*.csv", settle_s=5)


def test_a_file_that_grows_is_not_complete(tmp_path: Path, arrivals: Arrivals) -> None:
    for second in range(0, 20, 4):
        with (tmp_path / "a.csv").open("a") as file:
            file.write("more\n")

        assert arrivals.complete(second) == []
    assert names(arrivals.complete(21.0)) == ["a.csv"]


def test_a_file_rewritten_at_the_same_size_is_not_complete(tmp_path: Path, arrivals: Arrivals) -> None:
    path = tmp_path / "a.csv"
    path.write_text("1;2\n")
    os.utime(path, ns=(1, 1))
    assert arrivals.complete(0) == []
    path.write_text("3;4\n")

    assert arrivals.complete(6) == []
    assert names(arrivals.complete(11)) == ["a.csv"]


def test_a_file_under_another_name_is_taken_once_it_is_renamed(tmp_path: Path, arrivals: Arrivals) -> None:
    (tmp_path / "a.csv.part").write_text("1\n")
    assert arrivals.complete(0) == arrivals.complete(100) == []
    (tmp_path / "a.csv.part").rename(tmp_path / "a.csv")

    assert arrivals.complete(101) == []
    assert names(arrivals.complete(106)) == ["a.csv"]


def test_the_oldest_file_comes_first(tmp_path: Path, arrivals: Arrivals) -> None:
    for name, at in (("b.csv", 10), ("a.csv", 30), ("c.csv", 20)):
        (tmp_path / name).write_text("1\n")
        os.utime(tmp_path / name, (at, at))
    arrivals.complete(0)

    assert names(arrivals.complete(5)) == ["b.csv", "c.csv", "a.csv"]


def test_links_folders_hidden_files_and_other_names_are_left_alone(tmp_path: Path) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "in"
    outside.mkdir()
    folder.mkdir()
    (outside / "secret.csv").write_text("1\n")
    (folder / "link.csv").symlink_to(outside / "secret.csv")
    (folder / "up.csv").symlink_to("../outside/secret.csv")
    (folder / "folder.csv").symlink_to(outside)
    (folder / "inner.csv").mkdir()
    (folder / ".hidden.csv").write_text("1\n")
    (folder / "notes.txt").write_text("1\n")
    (folder / "fine.csv").write_text("1\n")
    os.mkfifo(folder / "pipe.csv")  # opening it would wait for ever
    arrivals = Arrivals(folder, "*.csv", settle_s=1)
    arrivals.complete(0)

    assert names(arrivals.complete(2)) == ["fine.csv"]
    assert sorted(arrivals.left_alone) == ["folder.csv", "link.csv", "up.csv"]


def test_a_name_that_cannot_be_shown_is_left_alone_and_named(tmp_path: Path, arrivals: Arrivals) -> None:
    (tmp_path / "a\nb.csv").write_text("1\n")
    (tmp_path / os.fsdecode(b"\xff.csv")).write_text("1\n")
    arrivals.complete(0)

    assert arrivals.complete(10) == []
    assert sorted(arrivals.left_alone) == ["'\\udcff.csv'", "'a\\nb.csv'"]


def test_a_file_that_changed_since_is_told_from_one_that_did_not(tmp_path: Path, arrivals: Arrivals) -> None:
    (tmp_path / "a.csv").write_text("1\n")
    arrivals.complete(0)
    (found,) = arrivals.complete(5)
    assert found.is_unchanged()
    with (tmp_path / "a.csv").open("a") as file:
        file.write("2\n")

    assert not found.is_unchanged()
    (tmp_path / "a.csv").unlink()
    assert not found.is_unchanged()


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"nowhere cannot be listed .* make it, or mend its path"):
        Arrivals(tmp_path / "nowhere", "*", settle_s=1).complete(0)


def test_a_file_is_moved_beside_one_of_the_same_name(tmp_path: Path) -> None:
    for text in ("first", "second", "third"):
        (tmp_path / "a.csv").write_text(text)
        assert set_aside(as_it_is(tmp_path / "a.csv"), "done") is not None

    moved = {path.name: path.read_text() for path in (tmp_path / "done").iterdir()}
    assert moved == {"a.csv": "first", "a.2.csv": "second", "a.3.csv": "third"}


def test_a_file_that_took_the_place_of_the_imported_one_is_put_back(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("1\n")
    imported = as_it_is(tmp_path / "a.csv")
    (tmp_path / "a.csv").write_text("another\n")

    assert set_aside(imported, "done") is None
    assert (tmp_path / "a.csv").read_text() == "another\n"
    assert list((tmp_path / "done").iterdir()) == []


def test_nothing_is_moved_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "in").mkdir()
    (tmp_path / "in/done").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "in/a.csv").write_text("1\n")

    with pytest.raises(OSError, match="link"):
        set_aside(as_it_is(tmp_path / "in/a.csv"), "done")
    assert (tmp_path / "in/a.csv").exists()
