"""Shots of ten characteristics each, as the gateways of a pretend shop send them, for the benchmarks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from simulator.messages import Message, to_message
from simulator.records import SimShot
from simulator.scenarios import plain

KEYS = (
    "injection_time", "peak_melt_pressure", "cushion", "recovery_time", "mold_core_temperature",
    "mold_cavity_temperature", "cycle_time", "part_weight", "clamp_force", "coolant_flow",
)  # fmt: skip


def messages(shots: int) -> list[Message]:
    """So many shots of two presses in the order of time."""
    start = datetime.now(UTC) - timedelta(days=20)
    made = plain(20, start, presses=2, shots=shots // 2)
    return [to_message(_ten(record)) for record in made if isinstance(record, SimShot)]


def _ten(shot: SimShot) -> SimShot:
    values = {key: shot.values[key] for key in KEYS}
    return SimShot(
        press=shot.press, counter=shot.counter, ended_at=shot.ended_at, run=shot.run, tray=shot.tray,
        tray_position=shot.tray_position, values=values, setpoints={}, truth=shot.truth,
    )  # fmt: skip
