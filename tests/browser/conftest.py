"""The screens in Chromium, served as in the shop: one server on a free port, over a seeded SQLite store."""

from __future__ import annotations

import importlib.util
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.store import database

CHROMIUM = Path("/usr/bin/chromium")
# No sandbox: the tests may run as root in a container. The rest keeps the browser from calling anybody.
SWITCHES = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
STARTS_IN_S = 60.0


def _seed() -> Callable[..., None]:
    """The story of the dashboard tests; a folder of tests cannot import from its neighbor by name."""
    path = Path(__file__).parents[1] / "dashboard" / "conftest.py"
    spec = importlib.util.spec_from_file_location("dashboard_story", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    seed: Callable[..., None] = module.seed
    return seed


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, or a skip that says what is missing (a failure where CI=true)."""
    missing = ""
    if not CHROMIUM.exists():
        missing = f"{CHROMIUM} is missing: install the package chromium"
    elif importlib.util.find_spec("playwright") is None:
        missing = "playwright is missing: install the extra 'test'"
    if missing:
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  (absent where this skips)

    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=str(CHROMIUM), args=list(SWITCHES))
        yield chromium
        chromium.close()


_stores: dict[str, str] = {}


@pytest.fixture
def store_of() -> Callable[[str], str]:
    """URL of the store behind the screens at an address."""
    return _stores.__getitem__


@pytest.fixture(scope="session")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., str]]:
    """Start the screens over a fresh store with the given presses; gives their address."""
    seed = _seed()
    running: list[subprocess.Popen[bytes]] = []
    known: dict[tuple[Any, ...], str] = {}

    def start(*presses: str, alive: bool = True, sign_in: str = "names") -> str:
        asked = (presses, alive, sign_in)
        if asked not in known:
            folder = tmp_path_factory.mktemp("screens")
            url = f"sqlite:///{folder / 'evenrun.db'}"
            engine = database.open_engine(url)
            seed(engine, presses, alive=alive) if presses else database.upgrade(engine)
            engine.dispose()
            port = _free_port()
            running.append(_serve(folder, url, port, sign_in))
            known[asked] = f"http://127.0.0.1:{port}"
            _stores[known[asked]] = url
            _wait(known[asked], running[-1], folder)
        return known[asked]

    yield start
    for server in running:
        server.terminate()
    for server in running:
        server.wait(timeout=20)


def _serve(folder: Path, url: str, port: int, sign_in: str) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "EVENRUN_DATABASE_URL": url, "EVENRUN_PEOPLE__SIGN_IN": sign_in}
    code = f"from dashboard.cli import dashboard; dashboard(host='127.0.0.1', port={port})"
    with (folder / "server.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-c", code], cwd=folder, env=environment, stdout=log, stderr=subprocess.STDOUT
        )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(address: str, server: subprocess.Popen[bytes], folder: Path) -> None:
    end = time.monotonic() + STARTS_IN_S
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError(f"the screens did not start: {(folder / 'server.log').read_text(errors='replace')}")
