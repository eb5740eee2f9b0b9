"""Shots as a CSV file: one row a shot, headers are message keys, numbers in canonical units."""

import csv
from collections.abc import Iterable, Iterator
from typing import TextIO

from simulator.records import SimRecord, SimShot

IDENTITY = ("press", "counter", "ended_at", "run", "tray", "tray_position")
TRUTH = ("faults", "startup", "lot", "dome_24h_mm", "diameter_24h_mm", "weight_g")
SETPOINT = "setpoint."


def write_shots(records: Iterable[SimRecord], out: TextIO, *, with_truth: bool = False) -> Iterator[SimShot]:
    """Write the shots of a story and hand each on; events have no row.

    Parameters
    ----------
    records : iterable of SimShot or SimEvent
    out : file
        Opened for text with ``newline=""``.
    with_truth : bool
        Add columns ``truth.*`` that no press could give.
    """
    writer = csv.writer(out, lineterminator="\n")
    columns: list[str] | None = None
    for record in records:
        if not isinstance(record, SimShot):
            continue
        row = _row(record, with_truth=with_truth)
        if columns is None:
            columns = list(row)
            writer.writerow(columns)
        writer.writerow([row.get(column, "") for column in columns])
        yield record


def _row(shot: SimShot, *, with_truth: bool) -> dict[str, object]:
    identity: dict[str, object] = {name: getattr(shot, name) for name in IDENTITY}
    identity["ended_at"] = shot.ended_at.isoformat(timespec="milliseconds")
    setpoints = {SETPOINT + key: value for key, value in shot.setpoints.items()}
    truth = {f"truth.{name}": getattr(shot.truth, name) for name in TRUTH} if with_truth else {}
    if with_truth:
        truth["truth.faults"] = " ".join(shot.truth.faults)
    return {**identity, **shot.values, **setpoints, **truth}
