"""A hold that was sorted is told with its counts."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from dashboard.audit.facts import HoldFact

AT = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def hold(**changes: Any) -> HoldFact:
    fields: dict[str, Any] = {
        "id": 1, "alarm_id": 1, "state": "sorted", "reason": "x", "first": 0, "last": 9, "discs": 10,
        "trays": ("41",), "without_tray": 0, "opened_by": "service", "opened_at": AT,
        "closed_by": "quality 1", "closed_at": AT, "note": None, "good_discs": 7, "bad_discs": 2,
    }  # fmt: skip
    return HoldFact(**(fields | changes))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "sorted (7 good, 2 scrapped)"),
        ({"state": "released"}, "released"),
        ({"state": "scrapped", "good_discs": None, "bad_discs": None}, "scrapped"),  # not counted
    ],
)
def test_what_became_of_a_hold_in_words(changes: dict[str, Any], words: str) -> None:
    assert hold(**changes).decided == words
