"""Does the collector's memory grow? 500 presses, a day of shots taken in by one pipeline.

    python tests/benchmarks/bench_memory.py [--presses 500] [--hours 24]

Shots of ten characteristics a minute apart go through the pipeline into SQLite on disk, in the order in which
presses would send them, ten shots of each press a transaction, as after an outage. Prints the resident memory
after each hour of the floor, its change from the first hour to the last (goal: within 5 %), the bytes a shot
takes in the store with its chart states, signals and alarms, and the shots a second.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path

import numpy as np
import sqlalchemy as sa

sys.path[:0] = [str(Path(__file__).parents[2])]
from ten_characteristics import KEYS, LEVELS  # noqa: E402

from collector.clock import ServiceClock  # noqa: E402
from collector.contract.policy import Policy as Intake  # noqa: E402
from collector.pipeline import Pipeline  # noqa: E402
from collector.sources.incoming import Incoming  # noqa: E402
from collector.store import database  # noqa: E402
from collector.verdict import Policy  # noqa: E402

START = datetime(2026, 11, 23, 6, 0, tzinfo=UTC)
CYCLE_S = 60
SHOTS_AN_HOUR = 3_600 // CYCLE_S
SHOTS_AT_ONCE = 10  # of each press
SEED = 20
MIB = 1024.0 * 1024.0


def main() -> None:
    """Print the memory by the hour, and what it comes to."""
    shown_as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown_as_written)
    parser.add_argument("--presses", type=int, default=500)
    parser.add_argument("--hours", type=int, default=24)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenrun-memory-") as folder:
        path = Path(folder) / "evenrun.db"
        engine = database.open_engine(f"sqlite:///{path}")
        database.upgrade(engine)
        began = time.perf_counter()
        sizes = list(take_a_day(engine, asked.presses, asked.hours))
        took_s = time.perf_counter() - began
        engine.dispose()
        shots = asked.presses * asked.hours * SHOTS_AN_HOUR
        stored = sum(each.stat().st_size for each in Path(folder).iterdir())
    change = sizes[-1] / sizes[0] - 1.0
    print(f"From the first hour to the last: {100.0 * change:+.1f} % (goal: within 5 %)")
    print(f"{stored / shots:,.0f} bytes a shot in the store, {shots / took_s:,.0f} shots a second")


def take_a_day(engine: sa.Engine, presses: int, hours: int) -> Iterator[float]:
    """Take the shots in; after each hour of the floor the resident memory of this process, MiB."""
    now = START
    clock = ServiceClock(wall_anchor=START, service_anchor=START, wall=lambda: now)
    pipeline = Pipeline(
        engine, policy=Policy(vital=frozenset(KEYS)), intake=Intake(), clock=clock, wall=lambda: now
    )
    rng = np.random.default_rng(SEED)
    for hour in range(hours):
        waiting = iter(shots_of_an_hour(presses, hour, rng))
        now = START + timedelta(hours=hour + 1)
        while batch := list(islice(waiting, SHOTS_AT_ONCE * presses)):
            pipeline.take(batch)
        gc.collect()
        size = resident_mib()
        print(f"after {hour + 1:>2} h: {size:7.1f} MiB", flush=True)
        yield size


def shots_of_an_hour(presses: int, hour: int, rng: np.random.Generator) -> Iterator[Incoming]:
    """Every press's shots of one hour, in the order in which they end."""
    levels, sigmas = (np.array(each) for each in zip(*LEVELS.values(), strict=True))
    for place in range(hour * SHOTS_AN_HOUR, (hour + 1) * SHOTS_AN_HOUR):
        values = levels + sigmas * rng.standard_normal((presses, len(KEYS)))
        for press in range(presses):
            yield _shot(press, place, presses, dict(zip(KEYS, values[press].round(3).tolist(), strict=True)))


def _shot(press: int, place: int, presses: int, values: dict[str, float]) -> Incoming:
    ended_at = START + timedelta(seconds=CYCLE_S * (place + press / presses))
    body = {
        "press": f"P{press + 1}", "counter": place + 1, "ended_at": ended_at.isoformat(),
        "run": f"R-{press + 1}", "tray": str(place // 40 + 1), "values": values,
    }  # fmt: skip
    topic = f"evenrun/1/lowland/P{press + 1}/shot"
    return Incoming(topic, json.dumps(body).encode(), "mqtt", f"{topic} {place}")


def resident_mib() -> float:
    """What the kernel says this process holds in memory (proc(5), VmRSS)."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) * 1024 / MIB


if __name__ == "__main__":
    main()
