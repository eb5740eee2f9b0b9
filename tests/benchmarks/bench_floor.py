"""Does the floor screen get slower as the store grows? 50 presses, much stored against little.

    python tests/benchmarks/bench_floor.py [--presses 50] [--millions 10] [--turns 41]

Two stores on SQLite, one with so many million shots and one with 10 thousand, each with a full two hours of
every press. What the server does for a new drawing, `read_floor` and both layouts, is timed on them in turn.
Prints the medians, the ratio, and beside it the processor time, which says more on a machine that others
load. Goal: <= 1.3, and <= 150 ms.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
from floor_store import NOW, SITE, fill  # noqa: E402

from collector.store import database  # noqa: E402
from dashboard.blocks.floor_screen import drawing  # noqa: E402
from dashboard.queries.floor import read_floor  # noqa: E402

FEW = 10_000
GOAL_RATIO, GOAL_MS = 1.3, 150.0


class Times(NamedTuple):
    """Of one drawing, milliseconds."""

    read: float
    draw: float
    both: float
    processor: float


def main() -> None:
    """Fill, measure, print."""
    shown_as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown_as_written)
    parser.add_argument("--presses", type=int, default=50)
    parser.add_argument("--millions", type=float, default=10.0)
    parser.add_argument("--turns", type=int, default=41)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenrun-floor-") as folder:
        engines = [
            _filled(Path(folder), asked.presses, shots) for shots in (FEW, round(1e6 * asked.millions))
        ]
        few, many = _measured(engines, asked.turns)
        for engine in engines:
            engine.dispose()
    print(f"Medians of {asked.turns}, ms")
    print(f"{'shots':>12} {'read':>9} {'draw':>9} {'both':>9} {'processor':>10}")
    for name, row in ((f"{FEW:,}", few), (f"{round(1e6 * asked.millions):,}", many)):
        print(f"{name:>12} {row.read:9.1f} {row.draw:9.1f} {row.both:9.1f} {row.processor:10.1f}")
    ratios = many.both / few.both, many.processor / few.processor
    print(f"Ratio {ratios[0]:.2f}, of processor time {ratios[1]:.2f} (goal <= {GOAL_RATIO})")
    print(f"{many.both:.0f} ms, {many.processor:.0f} ms of a processor (goal <= {GOAL_MS:.0f})")


def _filled(folder: Path, presses: int, shots: int) -> sa.Engine:
    began = time.perf_counter()
    path = folder / f"{shots}.db"
    engine = fill(path, press_count=presses, shots=shots)
    size = path.stat().st_size / 1e6
    print(f"{shots:,} shots written in {time.perf_counter() - began:.0f} s, {size:,.0f} MB", flush=True)
    return engine


def _measured(engines: list[sa.Engine], turns: int) -> list[Times]:
    """Medians for each store; they take turns, so that load hits both."""
    for engine in engines:
        _screen(engine)  # compiles the statements
    found = [[_screen(engine) for engine in engines] for _ in range(turns)]
    return [
        Times(*(statistics.median(figures) for figures in zip(*times, strict=True)))
        for times in zip(*found, strict=True)
    ]


def _screen(engine: sa.Engine) -> Times:
    began, processor = time.perf_counter(), time.process_time()
    with database.read(engine) as conn:
        floor = read_floor(conn, site=SITE, now=NOW, wall=NOW)
    read = time.perf_counter()
    picture = drawing(floor, local=lambda moment: moment, provisional_shots=25, stop_cycles=5.0)
    drawn = time.perf_counter()
    used = time.process_time() - processor
    shown = sum(len(lane.marks) for lane in floor.lanes)
    assert shown == 120 * len(floor.lanes), f"{shown} marks are not two hours of every press"
    assert "Cushion" in picture
    return Times(*(1e3 * each for each in (read - began, drawn - read, drawn - began, used)))


if __name__ == "__main__":
    main()
