"""How long the import of a press's CSV export takes, against reading and storing its bare columns.

    python tests/benchmarks/bench_csv.py [--rows 50000] [--rounds 3] [--profile]
    python tests/benchmarks/bench_csv.py --memory [--rows 1000000]

The limit is `pandas.read_csv` plus `sqlite3.executemany` of the same columns, in write-ahead mode with
synchronous NORMAL: nothing is checked, charted or kept for proof. The import validates each cell, judges
each shot by the default chart plan, and commits with a digest a shot, synchronous FULL. Prints both and their
ratio, on the wall and in processor time of this process, which other work on the machine disturbs less; the
goal is 3 or less. --profile prints where the import's time goes; --memory imports once and prints
how much memory the process came to need, at each tenth of the file. Garbage is looked for as seldom as in
`evenrun import`; set OPENBLAS_NUM_THREADS=1, as that does, or waiting threads are counted too.
"""

from __future__ import annotations

import argparse
import cProfile
import csv
import gc
import pstats
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[2])]
from ten_characteristics import KEYS, LEVELS, SEED  # noqa: E402

from collector.cli import GARBAGE_AFTER  # noqa: E402
from collector.clock import real_clock  # noqa: E402
from collector.contract.mapping import ShotProfile  # noqa: E402
from collector.contract.quantities import find, unit  # noqa: E402
from collector.importing import import_csv  # noqa: E402
from collector.settings import Settings  # noqa: E402
from collector.store import database  # noqa: E402

START = datetime(2022, 1, 3, tzinfo=UTC)  # a million shots of 62 s are two years
CYCLE_S = 62.0
BLOCK = 50_000
PROFILE = ShotProfile.model_validate(
    {
        "kind": "shots", "press": "P1", "run": "R-1", "counter_column": "counter",
        "time": {"columns": ["ended_at"]},
        "values": [{"key": key, "column": key, "unit": unit(key)} for key in KEYS],
    }
)


def write_file(path: Path, rows: int) -> None:
    """A press in control. Limits from 25 shots alarm now and then all the same; that is part of the cost."""
    noise = np.random.default_rng(SEED)
    decimals = [quantity.decimals for key in KEYS if (quantity := find(key)) is not None]
    with path.open("w", newline="") as file:
        write = csv.writer(file).writerow
        write(["counter", "ended_at", *KEYS])
        for first in range(0, rows, BLOCK):
            count = min(BLOCK, rows - first)
            table = np.array([LEVELS[key] for key in KEYS])
            values = table[:, 0] + table[:, 1] * noise.standard_normal((count, len(KEYS)))
            for place, row in enumerate(values.tolist(), start=first):
                ended = START + timedelta(seconds=CYCLE_S * place)
                texts = [f"{value:.{count}f}" for value, count in zip(row, decimals, strict=True)]
                write([place + 1, ended.isoformat(), *texts])


class Took(NamedTuple):
    """Seconds on the wall and of the processor."""

    wall_s: float
    processor_s: float

    @classmethod
    def now(cls) -> Took:
        """What both clocks say."""
        return cls(time.perf_counter(), time.process_time())

    def since(self) -> Took:
        """How long it is ago."""
        return Took(*(now - then for now, then in zip(Took.now(), self, strict=True)))


def bare(path: Path, folder: Path) -> Took:
    """Reading the columns and storing them."""
    began = Took.now()
    frame = pd.read_csv(path)
    conn = sqlite3.connect(folder / "bare.db", isolation_level=None)
    conn.execute("PRAGMA journal_mode = WAL")
    conn.execute("PRAGMA synchronous = NORMAL")
    conn.execute(f"CREATE TABLE shots ({', '.join(frame.columns)})")
    conn.execute("BEGIN")
    places = ", ".join("?" * len(frame.columns))
    conn.executemany(
        f"INSERT INTO shots VALUES ({places})",
        frame.itertuples(index=False, name=None),
    )
    conn.execute("COMMIT")
    conn.close()
    return began.since()


def imported(
    path: Path, folder: Path, rows: int, seen_so_far: Callable[[int], None] = lambda _rows: None
) -> Took:
    """The import, whose rows must all have arrived."""
    engine = database.open_engine(f"sqlite:///{folder / 'evenrun.db'}")
    database.upgrade(engine)
    settings, seen = Settings(), 0

    def progress(more: int) -> None:
        nonlocal seen
        seen += more
        seen_so_far(seen)

    began = Took.now()
    done = import_csv(
        engine, settings, path, PROFILE, profile_name="bench", clock=real_clock(), progress=progress
    )
    took = began.since()
    engine.dispose()
    assert (done.accepted, done.counts.refused) == (rows, 0), done
    return took


def compare(rows: int, rounds: int) -> None:
    """Both in turn, the fastest of each."""
    bares, ours = [], []
    for _ in range(rounds):
        with tempfile.TemporaryDirectory() as name:
            path = Path(name) / "shots.csv"
            write_file(path, rows)
            bares.append(bare(path, Path(name)))
            ours.append(imported(path, Path(name), rows))
    print(f"{rows} rows of {len(KEYS)} characteristics, the fastest of {rounds}; us a row, goal 3 or less")
    for place, clock in enumerate(("wall", "processor")):
        least, most = (min(each[place] for each in took) / rows * 1e6 for took in (bares, ours))
        print(f"{clock:9}  bare columns {least:6.1f}  import {most:6.1f}  ratio {most / least:5.1f}")


def profile(rows: int) -> None:
    """Where the time of one import goes."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "shots.csv"
        write_file(path, rows)
        watch = cProfile.Profile()
        watch.runcall(imported, path, Path(name), rows)
    pstats.Stats(watch).sort_stats("tottime").print_stats(35)


def memory(rows: int) -> None:
    """The most memory that the process has needed so far, at each tenth of the file."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "shots.csv"
        write_file(path, rows)
        print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB", flush=True)
        tenths = iter(range(rows // 10, rows + 1, rows // 10))
        following = next(tenths)

        def progress(seen: int) -> None:
            nonlocal following
            if seen >= following:
                peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
                print(f"{seen:9} rows taken, peak memory {peak_mib:.0f} MiB", flush=True)
                following = next(tenths, rows + 1)

        took = imported(path, Path(name), rows, progress)
    print(f"{took.wall_s:.0f} s, {took.wall_s / rows * 1e6:.1f} us a row")


def main() -> None:
    """Print what was asked for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--rows", type=int, default=None)
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument("--profile", action="store_true")
    asked.add_argument("--memory", action="store_true")
    given = asked.parse_args()
    gc.set_threshold(GARBAGE_AFTER)
    if given.memory:
        memory(given.rows or 1_000_000)
    elif given.profile:
        profile(given.rows or 50_000)
    else:
        compare(given.rows or 50_000, given.rounds)


if __name__ == "__main__":
    main()
