"""`evenrun import --propose` writes a profile that `--profile` takes, and stores nothing itself."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
import typer
from rich.progress import Progress, TaskID
from typer.testing import CliRunner, Result

from collector import importing
from collector.cli.import_file import import_file
from collector.errors import UserError
from collector.store.tables import shots

CONTENT = "Shot;Time;Cushion [mm];Peak pressure\n" + "".join(
    f"{n};2026-05-14 10:{n:02}:00;5.{n:02};7{n:02}\n" for n in range(10, 40)
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENRUN_DATABASE_URL", f"sqlite:///{tmp_path}/store.sqlite")
    (tmp_path / "press.csv").write_text(CONTENT)
    return tmp_path


def evenrun_import(*words: str) -> Result:
    app = typer.Typer()
    app.command()(import_file)
    result = CliRunner().invoke(app, [*words])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_a_proposed_profile_imports_the_file(folder: Path) -> None:
    proposed = evenrun_import("press.csv", "--propose", "--profile-out", "mine.toml", "--press", "P1")

    assert proposed.exit_code == 0
    assert "guesses to check" in proposed.output
    assert "only bar makes values" in proposed.output
    assert not (folder / "store.sqlite").exists()
    done = evenrun_import("press.csv", "--profile", "mine.toml")
    assert "30 shots stored" in done.output
    with sa.create_engine(f"sqlite:///{folder}/store.sqlite").connect() as conn:
        assert conn.execute(sa.select(sa.func.count()).select_from(shots)).scalar_one() == 30


def test_without_a_file_to_write_to_the_profile_is_printed_apart_from_the_guesses(folder: Path) -> None:
    result = evenrun_import("press.csv", "--propose")

    assert result.stdout.startswith("# Proposed by looking at press.csv")
    assert "check: " not in result.stdout
    assert "check: the file does not say which press" in result.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "no profile is named for press.csv"),
        (("--propose", "--profile-out", "press.csv"), "exists already"),
        (("--propose", "--profile-out", "none/mine.toml"), "cannot be written"),
        (("--propose", "--kind", "curves"), "give shots or gaugings"),
        (("--propose", "--start", "yesterday"), "no time with a zone"),
        (("--watch", "."), "a folder instead of a file"),
    ],
)
def test_what_cannot_be_is_one_sentence(folder: Path, words: tuple[str, ...], told: str) -> None:
    with pytest.raises(UserError, match=told):
        evenrun_import("press.csv", *words)
    assert (folder / "press.csv").read_text() == CONTENT


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "no file is named"),
        (("--watch", "."), "no profile is named for the files in"),
        (("--watch", "nowhere", "--profile", "mine.toml"), "there is no folder nowhere"),
        (("--watch", ".", "--profile", "mine.toml"), "the profile mine.toml cannot be read"),
        (("--watch", ".", "--profile", "cap-press", "--pattern", "../*.csv"), "leads out of the folder"),
        (("--watch", ".", "--propose"), "leave out the file and --propose"),
    ],
)
@pytest.mark.usefixtures("folder")
def test_a_folder_that_cannot_be_watched_is_one_sentence(words: tuple[str, ...], told: str) -> None:
    with pytest.raises(UserError, match=told):
        evenrun_import(*words)
    assert not Path("store.sqlite").exists()


def test_an_import_that_is_ended_says_how_far_it_came_and_goes_on_when_it_is_repeated(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    evenrun_import("press.csv", "--propose", "--profile-out", "mine.toml", "--press", "P1")
    monkeypatch.setattr(importing, "BATCH", 10)

    def ended(self: Progress, task: TaskID, rows: float = 1) -> None:
        advance(self, task, rows)
        if self.tasks[task].completed == 20:
            raise KeyboardInterrupt

    advance = Progress.advance
    monkeypatch.setattr(Progress, "advance", ended)
    with pytest.raises(UserError, match="after 20 rows, which are stored"):
        evenrun_import("press.csv", "--profile", "mine.toml")
    monkeypatch.setattr(Progress, "advance", advance)

    said = evenrun_import("press.csv", "--profile", "mine.toml").output
    assert "10 shots stored, 20 known before" in said
