"""How should a shot's values be stored? Measures each form on SQLite and on PostgreSQL.

    python tests/benchmarks/bench_store.py --shots 1000000
    python tests/benchmarks/bench_store.py --shots 20000 --only sqlite

Prints one table a database: the press page read while another process writes 500 shots a second, the ingest
transaction (100 shots and the rewritten state of the engine, durable at commit), bulk import, and bytes on
disk and in the log. The second number is the ratio to the first form in the table.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

import psycopg

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]
from shot_rows import FIXED, KEYS, FixedRow, batches  # noqa: E402
from store_forms import STORED, Form, JsonByArrow, JsonBySql, JsonObject, JsonPlain, JsonPlainByArrow, compact  # noqa: E402

from collector.store import digest  # noqa: E402
from collector.store.types import from_micros  # noqa: E402
from tests import postgres_cluster  # noqa: E402

BATCH = 100
STATE = compact({f"chart {i}": {"center": 74.2, "sum": [0.1 * i] * 12} for i in range(100)})
# Other ways to read what a form has stored.
READERS: dict[type[Form], tuple[type[Form], ...]] = {
    JsonObject: (JsonBySql, JsonByArrow),
    JsonPlain: (JsonPlainByArrow,),
}
DATABASES = ["sqlite", "postgresql"]
TABLE_BYTES = """
SELECT sum(pg_total_relation_size(oid)) FROM pg_class
WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace
"""
Figures = dict[str, float]


@dataclass(frozen=True)
class Place:
    """Where a form is tried: a file, or the address of a database."""

    address: str
    post: bool

    @contextmanager
    def connect(self) -> Iterator[Any]:
        """A connection that opens no transaction by itself."""
        connection = psycopg.connect(self.address, autocommit=True) if self.post else self._sqlite()
        try:
            yield connection
        finally:
            connection.close()

    def _sqlite(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.address, isolation_level=None, timeout=30)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        return connection


def main() -> None:
    """Measure and print."""
    options = _options()
    for name in options.only:
        measured = dict(_measure_all(post=name == "postgresql", options=options))
        print(f"\n{name}, {options.shots:,} shots of 12 characteristics, 6 presses\n")
        _print(measured)
    print(f"\ndigest of a shot, whatever the form: {_digest_time():.0f} us")


def _digest_time() -> float:
    shots = [_as_row(fixed, values) for fixed, values in next(batches(1, 2_000, 2_000, seed=4))]
    began = time.perf_counter()
    for shot in shots:
        digest.of_row(shot)
    return 1e6 * (time.perf_counter() - began) / len(shots)


def _as_row(fixed: FixedRow, values: list[float]) -> dict[str, Any]:
    row = dict(zip(FIXED, fixed, strict=True))
    decoded = {name: json.loads(row[name]) for name in ("setpoints", "originals")}
    times = {name: from_micros(row[name]) for name in ("ended_at", "received_at")}
    names = {"site": "lowland", "name": "P1", "setpoint_originals": None, "time_reconstructed": False}
    return row | decoded | times | names | {"characteristics": dict(zip(KEYS, values, strict=True))}


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--shots", type=int, default=1_000_000)
    parser.add_argument("--only", nargs="+", choices=DATABASES, default=DATABASES)
    parser.add_argument("--batches", type=int, default=100, help="ingest transactions to time")
    parser.add_argument("--pages", type=int, nargs="+", default=[1_000, 100_000], help="shots on a page")
    return parser.parse_args()


def _measure_all(*, post: bool, options: argparse.Namespace) -> Iterator[tuple[str, Figures]]:
    with postgres_cluster.cluster(durable=True) if post else nullcontext("") as url:
        for form_class in STORED:
            if form_class is JsonPlain and not post:
                continue  # the same as the JSON object there
            with _empty_place(url) as place:
                form = form_class(post)
                figures = _measure(form, place, options)
                yield f"{form.name}{'' if form.by_name[post] else ' (no plain SQL)'}", figures
                for reader in READERS.get(form_class, ()):
                    yield reader.name, _pages(reader(post), place, options)


@contextmanager
def _empty_place(url: str) -> Iterator[Place]:
    if not url:
        with tempfile.TemporaryDirectory() as folder:
            yield Place(f"{folder}/shots.db", post=False)
        return
    address = url.replace("+psycopg", "")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("DROP DATABASE IF EXISTS trial")
        connection.execute("CREATE DATABASE trial")
    yield Place(address.replace("/postgres?", "/trial?"), post=True)


def _measure(form: Form, place: Place, options: argparse.Namespace) -> Figures:
    with place.connect() as connection:
        for statement in form.schema():
            connection.execute(statement)
        figures = {"import, s": _import(form, connection, options.shots)}
        _read_by_name(form, connection)
    figures |= _disk(place)
    figures |= _ingest(form, place, options.shots, options.batches)
    return _pages(form, place, options) | figures


def _import(form: Form, connection: Any, shots: int) -> float:
    spent = 0.0
    for batch in batches(1, shots, 10_000, seed=1):
        spent += _transaction(connection, lambda cursor, batch=batch: form.store(cursor, batch, bulk=True))
    if form.post:
        connection.execute("VACUUM ANALYZE")  # what autovacuum would do in the next minute
    return spent


def _read_by_name(form: Form, connection: Any) -> None:
    """Make sure that what a form says about plain SQL is so."""
    if query := form.by_name[form.post]:
        value = float(connection.execute(f"{query} LIMIT 1").fetchone()[0])
        assert 5 < value < 8, f"{form.name}: {value} is no cushion"


def _transaction(connection: Any, work: Callable[[Any], None]) -> float:
    began = time.perf_counter()
    cursor = connection.cursor()
    cursor.execute("BEGIN" if isinstance(cursor, psycopg.Cursor) else "BEGIN IMMEDIATE")
    work(cursor)
    cursor.execute("COMMIT")
    return time.perf_counter() - began


def _disk(place: Place) -> Figures:
    with place.connect() as connection:
        if place.post:
            return {"disk, MB": float(connection.execute(TABLE_BYTES).fetchone()[0]) / 1e6}
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return {"disk, MB": Path(place.address).stat().st_size / 1e6}


def _ingest(form: Form, place: Place, first: int, count: int) -> Figures:
    with place.connect() as connection:
        if not place.post:
            connection.execute("PRAGMA wal_autocheckpoint = 0")  # so that the log's length can be read
        before = _log_bytes(place, connection)
        spent = [
            _transaction(connection, lambda cursor, batch=batch: _work(form, cursor, batch))
            for batch in batches(first + 1, count * BATCH, BATCH, seed=2)
        ]
        grown = _log_bytes(place, connection) - before
        if not place.post:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return {"ingest 100, ms": 1e3 * statistics.median(spent), "log a batch, kB": grown / count / 1e3}


def _work(form: Form, cursor: Any, batch: Any) -> None:
    form.store(cursor, batch, bulk=False)
    mark = "%s" if form.post else "?"
    cursor.execute(
        f"INSERT INTO engine_states VALUES (1, {mark}) "
        "ON CONFLICT (press_id) DO UPDATE SET state = excluded.state",
        (STATE,),
    )


def _log_bytes(place: Place, connection: Any) -> float:
    if place.post:
        return float(connection.execute("SELECT pg_current_wal_lsn() - '0/0'").fetchone()[0])
    log = Path(f"{place.address}-wal")
    return float(log.stat().st_size) if log.exists() else 0.0


def _pages(form: Form, place: Place, options: argparse.Namespace) -> Figures:
    stop = multiprocessing.Event()
    with place.connect() as connection:
        began = connection.execute("SELECT max(id) + 1 FROM shots").fetchone()[0]
    writer = multiprocessing.Process(target=_write_on, args=(form, place, began, stop))
    writer.start()
    try:
        with place.connect() as connection:
            return {
                f"page {size:,}, ms": _read_time(form, connection, size) for size in options.pages
            }
    finally:
        stop.set()
        writer.join()


def _read_time(form: Form, connection: Any, size: int) -> float:
    spent = []
    for _ in range(5 if size > 10_000 else 50):
        time.sleep(0.01)
        began = time.perf_counter()
        table = form.read(connection.cursor(), size)
        spent.append(time.perf_counter() - began)
        assert table.shape[1] == 12
    return 1e3 * statistics.median(spent)


def _write_on(form: Form, place: Place, first: int, stop: Event) -> None:
    with place.connect() as connection:
        for batch in batches(first, 10**9, BATCH, seed=3):
            if stop.wait(0.2):
                return
            _transaction(connection, lambda cursor, batch=batch: _work(form, cursor, batch))


def _print(measured: dict[str, Figures]) -> None:
    reference = next(iter(measured.values()))
    print("| form |" + "".join(f" {name} |" for name in reference))
    print("|---|" + "---|" * len(reference))
    for form, figures in measured.items():
        cells = [
            f" {figures[name]:,.4g} (x{figures[name] / first:.2f}) |" if name in figures else " as above |"
            for name, first in reference.items()
        ]
        print(f"| {form} |" + "".join(cells))


if __name__ == "__main__":
    main()
