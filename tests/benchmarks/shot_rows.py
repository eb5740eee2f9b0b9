"""Invented shots to fill a table with: only their number, width and order matter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Any

import numpy as np

PRESSES = 6
KEYS = (
    "injection_time", "cycle_time", "recovery_time", "peak_melt_pressure", "switchover_melt_pressure",
    "cushion", "part_weight", "coolant_flow", "barrel_temperature.1", "barrel_temperature.2",
    "mold_core_temperature", "mold_cavity_temperature",
)  # fmt: skip
CENTERS = np.array([2.4, 58, 9, 74, 61, 6.2, 175, 11, 205, 210, 38, 36])
FIXED = {
    "id": "int", "press_id": "int", "epoch": "int", "counter": "int", "ended_at": "int",
    "received_at": "int", "run_id": "int", "tray": "text", "tray_position": "int", "phase": "text",
    "share": "real", "share_key": "text", "signaled": "int", "time_reconstructed": "int", "source": "text",
    "setpoints": "json", "originals": "json", "not_written": "json", "digest": "bytes",
}  # fmt: skip
SETPOINTS = '{"cooling_time":36.0,"hold_pressure":42.0}'
START = 1_790_000_000_000_000
FixedRow = tuple[Any, ...]


def batches(first: int, count: int, size: int, seed: int) -> Iterator[Sequence[tuple[FixedRow, list[float]]]]:
    """Yield batches of (row, values), presses taking turns, values rounded as a press sends them."""
    generator = np.random.default_rng(seed)
    for start in range(first, first + count, size):
        ids = range(start, min(start + size, first + count))
        drawn = CENTERS * (1 + 0.01 * generator.standard_normal((len(ids), len(KEYS))))
        rounded = np.round(drawn, 3).tolist()
        yield [(_row(number), values) for number, values in zip(ids, rounded, strict=True)]


def _row(number: int) -> FixedRow:
    press, counter = number % PRESSES + 1, number // PRESSES
    ended = START + counter * 60_000_000
    original = f'{{"peak_melt_pressure":[{700 + number % 90}.0,"bar"]}}'
    digest = sha256(number.to_bytes(8)).digest()
    return (
        number, press, 0, counter, ended, ended + 200_000, counter // 2_000 * PRESSES + press,
        str(counter // 40), counter % 40 + 1, "charted", 0.4, "cushion", 0, 0, "mqtt",
        SETPOINTS, original, None, digest,
    )  # fmt: skip
