"""Do the floor screen and the intake get slower as the store grows? 50 presses, much stored against little.

    python tests/benchmarks/bench_floor.py [--presses 50] [--millions 10] [--turns 41] [--database postgresql]

Two stores, one with so many million shots and one with 10 thousand, each with a full two hours of
every press. What the server does for a new drawing, `read_floor` and both layouts, is timed on them in turn,
and after it a transaction of two new shots of every press. Prints the medians, the ratios, and beside them
the processor time, which says more on a machine that others load. Goal of the screen: <= 1.3, and <= 150 ms.
The transaction has no goal: it tells whether one table for the shots of all time is a burden.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
from floor_store import CYCLE, NOW, SITE, fill  # noqa: E402
from ten_characteristics import KEYS, LEVELS, SEED  # noqa: E402

from collector.clock import ServiceClock  # noqa: E402
from collector.contract.policy import Policy as Intake  # noqa: E402
from collector.pipeline import Pipeline  # noqa: E402
from collector.sources.incoming import Incoming  # noqa: E402
from collector.store import database  # noqa: E402
from collector.verdict import Policy  # noqa: E402
from dashboard.blocks.floor_screen import drawing  # noqa: E402
from dashboard.queries.floor import read_floor  # noqa: E402
from tests import postgres_cluster  # noqa: E402

LEVEL, SIGMA = np.array(list(LEVELS.values())).T
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
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    asked = parser.parse_args()
    counts = FEW, round(1e6 * asked.millions)
    with _databases(asked.database) as address:
        engines = [_filled(address(shots), asked.presses, shots) for shots in counts]
        drawn = _measured(engines, asked.turns)
        taken = _taken(engines, asked.presses, counts, asked.turns)
        for engine in engines:
            engine.dispose()
    print(f"Medians of {asked.turns}, ms")
    print(f"{'shots':>12} {'read':>9} {'draw':>9} {'both':>9} {'processor':>9} {'transaction':>13}")
    for shots, row, took_ms in zip(counts, drawn, taken, strict=True):
        times = "".join(f"{each:10.1f}" for each in row)
        print(f"{shots:12,}{times} {took_ms:13.1f}")
    few, many = drawn
    ratios = many.both / few.both, many.processor / few.processor
    print(f"Screen: ratio {ratios[0]:.2f}, of processor time {ratios[1]:.2f} (goal <= {GOAL_RATIO}),")
    print(f"{many.both:.0f} ms, {many.processor:.0f} ms of a processor (goal <= {GOAL_MS:.0f})")
    print(f"Transaction of {2 * asked.presses} shots: ratio {taken[1] / taken[0]:.2f}")


@contextmanager
def _databases(kind: str) -> Iterator[Callable[[int], str]]:
    """Where the store with so many shots is to be: the address of an empty database."""
    if kind == "sqlite":
        with tempfile.TemporaryDirectory(prefix="evenrun-floor-") as folder:
            yield lambda shots: f"sqlite:///{folder}/{shots}.db"
        return
    with postgres_cluster.cluster(durable=True) as url:
        alone = sa.create_engine(url, isolation_level="AUTOCOMMIT")

        def empty(shots: int) -> str:
            with alone.connect() as conn:
                conn.execute(sa.text(f"CREATE DATABASE shots_{shots}"))
            return url.replace("/postgres?", f"/shots_{shots}?")

        yield empty
        alone.dispose()


def _filled(url: str, presses: int, shots: int) -> sa.Engine:
    began = time.perf_counter()
    engine = fill(url, press_count=presses, shots=shots)
    print(f"{shots:,} shots written in {time.perf_counter() - began:.0f} s", flush=True)
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


def _taken(engines: list[sa.Engine], presses: int, counts: tuple[int, ...], turns: int) -> list[float]:
    """Median of what a transaction takes on each store, ms; in turn. Every press begins a run."""
    later = NOW + CYCLE * 2 * (turns + 1)
    clock = ServiceClock(wall_anchor=later, service_anchor=later, wall=lambda: later)
    policy, intake = Policy(vital=frozenset(KEYS)), Intake()
    pipelines = [
        Pipeline(engine, policy=policy, intake=intake, clock=clock, wall=lambda: later) for engine in engines
    ]
    found, rng = [], np.random.default_rng(SEED)
    for turn in range(turns + 1):
        values = LEVEL + SIGMA * rng.standard_normal((2 * presses, len(KEYS)))
        batches = [_batch(values, presses, count // presses, turn) for count in counts]
        found.append([_transaction_ms(*each) for each in zip(pipelines, batches, strict=True)])
    return [statistics.median(times) for times in zip(*found[1:], strict=True)]


def _batch(values: npt.NDArray[np.float64], presses: int, past: int, turn: int) -> list[Incoming]:
    """Two shots of each press, after so many past ones and those of the turns before."""
    rows = [dict(zip(KEYS, row, strict=True)) for row in values.round(3).tolist()]
    return [_shot(place % presses, past, 2 * turn + place // presses, row) for place, row in enumerate(rows)]


def _transaction_ms(pipeline: Pipeline, batch: list[Incoming]) -> float:
    began = time.perf_counter()
    counts = pipeline.take(batch)
    assert counts.stored == len(batch), counts
    return 1e3 * (time.perf_counter() - began)


def _shot(press: int, past: int, place: int, values: dict[str, float]) -> Incoming:
    """The shot `place` after the past ones of a press, both counted from 0."""
    body = {
        "press": f"P{press + 1}", "counter": past + place + 1, "run": f"R-new-{press + 1}",
        "ended_at": (NOW + CYCLE * (place + press / 100)).isoformat(),
        "values": values,
    }  # fmt: skip
    topic = f"evenrun/1/{SITE}/P{press + 1}/shot"
    return Incoming(topic, json.dumps(body).encode(), "mqtt", f"{topic} {place}")


if __name__ == "__main__":
    main()
