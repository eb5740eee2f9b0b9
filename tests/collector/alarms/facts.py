"""Short ways to write signals down in these tests."""

from __future__ import annotations

from typing import Any

from collector.alarms.model import SignalFact


def fact(key: str = "cushion", chart: str | None = "cusum", **changes: Any) -> SignalFact:
    """A signal of a characteristic; whatever is not named does not matter to the test."""
    fields: dict[str, Any] = {
        "signal_id": 1, "kind": "chart", "key": key, "chart": chart, "rule": "beyond_limit",
        "direction": -1, "value": 4.2, "statistic": -6.0, "share": 1.2, "limits_id": None,
    }  # fmt: skip
    return SignalFact(**(fields | changes))
