"""Data and published values that may not be copied here, from the folder that EVENRUN_OUTSIDE names."""

from __future__ import annotations

import json
import os
from functools import cache
from pathlib import Path
from typing import Any

import pytest

__all__ = ["entries", "entry", "folder"]


def folder() -> Path:
    """The folder; the test is skipped where there is none."""
    named = os.environ.get("EVENRUN_OUTSIDE")
    if not named:
        pytest.skip("EVENRUN_OUTSIDE is not set: no folder with data and published values")
    return Path(named)


def entries() -> dict[str, Any]:
    """Published values with their inputs and provenance, by id."""
    return _read(folder() / "reference" / "reference.json")


def entry(name: str) -> dict[str, Any]:
    """One of them."""
    found: dict[str, Any] = entries()[name]
    return found


@cache
def _read(file: Path) -> dict[str, Any]:
    rows = json.loads(file.read_text(encoding="utf-8"))["entries"]
    by_id = {each["id"]: each for each in rows}
    assert len(by_id) == len(rows), "two entries share an id"
    return by_id
