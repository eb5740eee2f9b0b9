"""The measurement of the store's forms still runs, and every form gives back what was stored."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests import postgres_cluster

SCRIPT = Path(__file__).with_name("bench_store.py")


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def test_a_small_run_prints_a_row_for_each_form(database: str) -> None:
    if database == "postgresql" and (lacking := postgres_cluster.missing()):
        pytest.skip(f"this test needs {lacking}")
    size = ["--shots", "600", "--batches", "1", "--pages", "50", "--only", database]
    done = subprocess.run(
        [sys.executable, SCRIPT, *size], capture_output=True, text=True, timeout=120, check=False
    )

    assert done.returncode == 0, done.stderr
    forms = ("JSON object", "JSON list + key list", "packed + key list", "row per value")
    assert all(f"| {form}" in done.stdout for form in forms)
