"""Shots as a file: one row a shot, columns are message keys, numbers in canonical units."""

from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import TextIO

import pyarrow as pa
import pyarrow.parquet as pq

from collector.csv_out import row_writer
from simulator.records import SimRecord, SimShot

IDENTITY = ("press", "counter", "ended_at", "run", "tray", "tray_position")
TRUTH = (
    "faults", "startup", "scrapped", "lot", "dome_24h_mm", "sound_dome_24h_mm", "diameter_24h_mm", "weight_g",
)  # fmt: skip
SETPOINT = "setpoint."
ROWS_AT_ONCE = 10_000  # of a Parquet file, so that memory stays small
PARQUET = ".parquet"


def write_csv(records: Iterable[SimRecord], out: TextIO, *, with_truth: bool = False) -> Iterator[SimShot]:
    """Write the shots of a story as CSV and hand each on; events have no row.

    Parameters
    ----------
    records : iterable of SimShot or SimEvent
    out : file
        Opened for text with ``newline=""``.
    with_truth : bool
        Add columns ``truth.*`` that no press could give.
    """
    write = row_writer(out)
    columns: list[str] | None = None
    for shot in _shots(records):
        row = _row(shot, with_truth=with_truth)
        row["ended_at"] = shot.ended_at.isoformat(timespec="milliseconds")
        if columns is None:
            columns = list(row)
            write(columns)
        write(row.get(column) for column in columns)
        yield shot


def write_parquet(records: Iterable[SimRecord], out: Path, *, with_truth: bool = False) -> Iterator[SimShot]:
    """Write the shots of a story as Parquet and hand each on; the columns are those of the CSV file."""
    shots, writer = _shots(records), None
    try:
        while some := list(islice(shots, ROWS_AT_ONCE)):
            table = pa.Table.from_pylist([_row(shot, with_truth=with_truth) for shot in some])
            if writer is None:
                writer = pq.ParquetWriter(out, table.schema)
            writer.write_table(table.cast(writer.schema))
            yield from some
    finally:
        if writer is not None:
            writer.close()


def _shots(records: Iterable[SimRecord]) -> Iterator[SimShot]:
    return (record for record in records if isinstance(record, SimShot))


def _row(shot: SimShot, *, with_truth: bool) -> dict[str, object]:
    identity: dict[str, object] = {name: getattr(shot, name) for name in IDENTITY}
    setpoints = {SETPOINT + key: value for key, value in shot.setpoints.items()}
    truth = {f"truth.{name}": getattr(shot.truth, name) for name in TRUTH} if with_truth else {}
    if with_truth:
        truth["truth.faults"] = " ".join(shot.truth.faults)
    return {**identity, **shot.values, **setpoints, **truth}
