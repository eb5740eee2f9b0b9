"""Shots of ten characteristics each, as the gateways of a shop in control send them, for the benchmarks.

Identity, time, run and tray are those of the pretend shop. The values are independent and normal around a
level, because a press that wanders keeps the alarms at work, whose cost is not what is measured here.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from collector.contract.quantities import find
from simulator.messages import Message, to_message
from simulator.records import SimShot
from simulator.scenarios import plain

SEED = 20
LEVELS = {
    "injection_time": (1.93, 0.004), "peak_melt_pressure": (68.4, 0.35), "cushion": (5.57, 0.06),
    "recovery_time": (18.45, 0.09), "mold_core_temperature": (19.93, 0.15),
    "mold_cavity_temperature": (20.29, 0.15), "cycle_time": (62.0, 0.12), "part_weight": (175.18, 0.09),
    "clamp_force": (895.0, 4.0), "coolant_flow": (8.03, 0.05),
}  # fmt: skip
KEYS = tuple(LEVELS)


def messages(shots: int) -> list[Message]:
    """So many shots of two presses in the order of time."""
    start = datetime.now(UTC) - timedelta(days=20)
    records = plain(SEED, start, presses=2, shots=shots // 2)
    made = [record for record in records if isinstance(record, SimShot)]
    noise = np.random.default_rng(SEED).standard_normal((len(made), len(KEYS))).tolist()
    return [to_message(_steady(record, row)) for record, row in zip(made, noise, strict=True)]


def _steady(shot: SimShot, noise: list[float]) -> SimShot:
    values = {key: _written(key, z) for key, z in zip(KEYS, noise, strict=True)}
    return SimShot(
        press=shot.press, counter=shot.counter, ended_at=shot.ended_at, run=shot.run, tray=shot.tray,
        tray_position=shot.tray_position, values=values, setpoints={}, truth=shot.truth,
    )  # fmt: skip


def _written(key: str, z: float) -> float:
    """A value with the decimals its key is written with."""
    quantity, (level, sigma) = find(key), LEVELS[key]
    assert quantity is not None
    return round(level + sigma * z, quantity.decimals)
