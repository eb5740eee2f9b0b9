"""Collectors that share a store: one dies, one stands still and wakes up, and nothing is lost or doubled."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.faults.takeover import take_over
from tests.mosquitto_fixtures import Mosquitto

pytestmark = [pytest.mark.mosquitto, pytest.mark.postgres, pytest.mark.slow]


def test_another_has_the_presses_and_nothing_is_lost_or_doubled(
    tmp_path: Path, mosquitto: Mosquitto, new_postgres_url: Callable[[str], str]
) -> None:
    seen = take_over(tmp_path, mosquitto, new_postgres_url("takeover"), count=6_000, rate_per_s=300)

    assert (seen.lost, seen.doubled, seen.refused) == (0, 0, 0)
    assert seen.stored == seen.sent
    assert seen.differences == []
    assert seen.compared > 0
