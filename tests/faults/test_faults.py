"""The floor under faults, in the short form; the long one is `python -m tests.faults --long`.

Nothing lost, doubled or bent, and the signals are those of the whole-array form: the truth is the list of
shots that were published, see `truth.py`. To save time, the faults that differ most, each on one database.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import postgres_cluster
from tests.faults.faults import FAULTS
from tests.faults.floor import Size
from tests.faults.stores import can_mount
from tests.faults.suite import run_case
from tests.mosquitto_fixtures import need_mosquitto

SEED = 20
SIZE = Size(shots=400, rate_per_s=150, times=2)
SHORT = (
    ("collector_killed", "sqlite"),
    ("network_cut", "postgresql"),
    ("broker_killed", "sqlite"),
    ("doubled_and_disordered", "postgresql"),
    ("disk_full", "sqlite"),
    ("database_restarted", "postgresql"),
)

pytestmark = [pytest.mark.mosquitto, pytest.mark.slow]


@pytest.fixture(scope="module")
def own_cluster() -> Iterator[str]:
    """A cluster that these tests may stop and start, with commits that wait for the disk."""
    if lacking := postgres_cluster.missing():
        say = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        say(f"this test needs {lacking}")
    with postgres_cluster.cluster(durable=True) as url:
        yield url


@pytest.mark.parametrize(("name", "kind"), SHORT)
def test_nothing_is_lost_doubled_or_bent_and_signals_equal_the_whole_array_form(
    name: str, kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    need_mosquitto()
    fault = FAULTS[name]
    if fault.needs_mount and not can_mount():
        pytest.skip("only root can mount a small disk here")
    cluster_url = request.getfixturevalue("own_cluster") if kind == "postgresql" else None
    folder = tmp_path / "floor"
    folder.mkdir()

    outcome = run_case(fault, kind, seed=SEED, size=SIZE, cluster_url=cluster_url, folder=folder)

    assert outcome.mistakes() == [], outcome
