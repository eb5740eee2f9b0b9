"""The page table, and the command that serves it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

import dashboard
from dashboard import cli
from dashboard.app import PAGES
from dashboard.queries import database

HERE = Path(dashboard.__file__).parent
FILES = sorted(path.stem for path in (HERE / "app_pages").glob("[!_]*.py"))


def test_every_page_file_is_in_the_table() -> None:
    assert set(FILES) <= {row.module for row in PAGES}


def test_titles_are_all_different() -> None:
    assert len({row.title for row in PAGES}) == len(PAGES)


@pytest.mark.parametrize("module", FILES)
def test_a_page_runs_on_an_empty_store(store: sa.Engine, module: str) -> None:
    at = AppTest.from_file(str(HERE / "app_pages" / f"{module}.py"), default_timeout=30).run()
    assert not at.exception


@pytest.mark.parametrize("module", FILES)
def test_a_page_runs_on_a_store_with_a_story(two_presses: sa.Engine, module: str) -> None:
    at = AppTest.from_file(str(HERE / "app_pages" / f"{module}.py"), default_timeout=30).run()
    assert not at.exception


def test_the_clock_is_the_stored_one_and_the_wall_clock_without_one(store: sa.Engine, seed: object) -> None:
    assert database.clock().speed == 1.0
    seed(store, ("P1",))  # type: ignore[operator]
    assert database.clock().now().year == 2026


def test_the_command_serves_on_the_settings_host_and_port(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    taken: list[list[str]] = []
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENRUN_DASHBOARD_HOST", "0.0.0.0")
    monkeypatch.setenv("EVENRUN_DASHBOARD_PORT", "8600")
    monkeypatch.setattr("os.execv", lambda _path, command: taken.append(command))
    cli.dashboard()
    cli.dashboard(host="127.0.0.1", port=9000)
    (first, second) = taken
    # -P: a script called click.py beside the store once kept the screens from starting.
    assert first[:5] == [sys.executable, "-P", "-m", "streamlit", "run"]
    assert Path(first[5]).name == "server.py"
    assert {"--server.address=0.0.0.0", "--server.port=8600"} <= set(first)
    assert {"--server.address=127.0.0.1", "--server.port=9000"} <= set(second)


def test_the_theme_file_is_beside_the_app() -> None:
    (theme,) = [each for each in cli.server_command("h", 1) if each.startswith("--theme.base=")]
    assert Path(theme.partition("=")[2]).is_file()
