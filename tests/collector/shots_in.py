"""Shots as messages, for tests of the engine and the pipeline."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from collector.contract.shot import Shot
from collector.sources.incoming import Incoming

START = datetime(2026, 11, 2, 6, tzinfo=UTC)
CYCLE_S = 60.0


def shot(number: int, **changes: Any) -> Shot:
    """The `number`-th shot of a press that runs one cycle a minute."""
    ended_at = START + timedelta(seconds=CYCLE_S * number)
    fields: dict[str, Any] = {
        "site": "lowland", "press": "P1", "counter": 1000 + number, "ended_at": ended_at,
        "received_at": ended_at, "run": None, "tray": None, "tray_position": None,
        "values": {"cushion": 6.0}, "originals": {}, "setpoints": {}, "setpoint_originals": {}, "units": {},
        "not_written": (), "time_reconstructed": False, "source": "test",
    }
    return Shot(**{**fields, **changes})


def message(number: int, values: dict[str, float], **more: Any) -> Incoming:
    """The same as bytes on its topic; `press`, `counter` and others can be given."""
    ended_at = START + timedelta(seconds=CYCLE_S * number)
    body = {
        "press": "P1", "counter": 1000 + number, "ended_at": ended_at.isoformat(), "values": values, **more
    }
    topic = f"evenrun/1/lowland/{body['press']}/shot"
    return Incoming(topic, json.dumps(body).encode(), "mqtt", f"test:{number}")


def cushions(count: int, *, seed: int = 20, shift: float = 0.0, shift_from: int | None = None) -> list[float]:
    """Cushions in mm, normal around 6.0 with sigma 0.1; from `shift_from` on `shift` sigma higher."""
    values = np.random.default_rng(seed).normal(6.0, 0.1, size=count)
    if shift_from is not None:
        values[shift_from:] += 0.1 * shift
    return [round(float(value), 4) for value in values]
