"""The checks of the style and of the types are tests like any other."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_ruff_finds_nothing() -> None:
    done = run("ruff", "check", "--quiet")

    assert done.returncode == 0, done.stdout


def test_mypy_finds_nothing() -> None:
    done = run("mypy")

    assert done.returncode == 0, done.stdout
