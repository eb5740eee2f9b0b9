"""Killed at any moment: no message is lost, nobody is told twice, and the journal holds."""

from __future__ import annotations

from pathlib import Path

from tests.faults.crash_outbox import crash

KILLS, SEED = 12, 20


def test_a_killed_collector_loses_no_message_and_tells_nobody_twice(tmp_path: Path) -> None:
    figures = crash(KILLS, seed=SEED, folder=tmp_path)

    assert figures.wrong == []
    assert figures.kills == figures.journal_checks == KILLS
    assert figures.alarms > KILLS, "every life must have raised alarms"
    assert figures.in_hand_at_kill > 0, "a kill must have hit a message in hand"
    assert figures.told_once > 0
