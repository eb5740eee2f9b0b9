"""A store with a long past behind a floor of presses, written in bulk: for the benchmark of the floor screen.

Every press makes a shot a minute, up to now, so the newest two hours are full and all else is past. A run has
2,000 shots, one in a thousand opens an alarm with a hold, both closed since; of ten presses one stands in an
alarm whose hold is still open, and one is just starting. Only what the screen reads is written.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any

import numpy as np
import sqlalchemy as sa
from ten_characteristics import KEYS, LEVELS

from collector.alarms.model import Moved
from collector.store import database
from collector.store.tables import alarms, heartbeats, holds, limits, presses, runs
from collector.store.tables import shots as shots_table
from collector.store.types import to_micros

NOW = datetime(2026, 11, 27, 14, 0, tzinfo=UTC)
CYCLE = timedelta(seconds=60)
SITE = "lowland"
RUN_SHOTS, TRAY_SHOTS = 2_000, 40
ALARM_EVERY = 1_000  # shots of a press
YOUNG_SHOTS, STARTUP_SHOTS, BASELINE_SHOTS = 30, 10, 25
BAD_SHOTS = 45  # since when an alarm is open
DRAWN = 5_000  # different rows of values; the rest repeats them
SEED = 20
COLUMNS = (
    "id", "press_id", "epoch", "counter", "ended_at", "received_at", "run_id", "tray", "tray_position",
    "phase", "share", "share_key", "signaled", "time_reconstructed", "source", "characteristics",
    "setpoints", "originals", "digest",
)  # fmt: skip
INSERT = f"INSERT INTO shots ({', '.join(COLUMNS)}) VALUES ({', '.join('?' * len(COLUMNS))})"


@dataclass(frozen=True, slots=True)
class Past:
    """So many presses with so many shots each; `tick` counts a press's shots from 0, press numbers from 1."""

    presses: int
    ticks: int

    def shot_id(self, press: int, tick: int) -> int:
        """Shots of all presses lie in the table in the order of time."""
        return tick * self.presses + press

    def ended_at(self, press: int, tick: int) -> datetime:
        """Within the minute each press has its own second; the newest shots are of the last minute."""
        return NOW - CYCLE * (self.ticks - tick) + CYCLE * (press / (self.presses + 1))

    def run_starts(self, press: int) -> list[int]:
        """First tick of each run."""
        starts = list(range(0, self.ticks, RUN_SHOTS))
        if press % 10 == 0:
            young = self.ticks - YOUNG_SHOTS
            starts = [tick for tick in starts if tick < young] + [young]
        return starts

    def is_bad(self, press: int, tick: int) -> bool:
        """Whether it is a shot since which an alarm stands."""
        return press % 10 == 5 and tick >= self.ticks - BAD_SHOTS


def fill(url: str, *, press_count: int, shots: int) -> sa.Engine:
    """Make the store in an empty database.

    Returns
    -------
    Engine
        Opened as the service opens it.
    """
    past = Past(press_count, shots // press_count)
    engine = database.open_engine(url)
    database.upgrade(engine)
    starts = {press: past.run_starts(press) for press in range(1, press_count + 1)}
    run_ids = _run_ids(starts)
    with database.write(engine) as conn:
        _frame(conn, past, starts, run_ids)
    in_bulk = _into_sqlite if engine.dialect.name == "sqlite" else _into_postgresql
    in_bulk(engine, _shots(past, starts, run_ids))
    with database.write(engine) as conn:
        _alarms(conn, past, starts, run_ids)
    if engine.dialect.name == "postgresql":
        _settle(engine)
    return engine


def _into_sqlite(engine: sa.Engine, rows: Iterator[tuple[Any, ...]]) -> None:
    """Write the rows past the log, which only who is alone may do."""
    path = engine.url.database
    assert path is not None
    engine.dispose()
    with sqlite3.connect(path, isolation_level=None) as raw:
        raw.execute("PRAGMA journal_mode = OFF")
        raw.execute("PRAGMA synchronous = OFF")
        raw.execute("PRAGMA cache_size = -400000")
        raw.execute("BEGIN")
        raw.executemany(INSERT, rows)
        raw.execute("COMMIT")
        raw.execute("PRAGMA journal_mode = WAL")


def _into_postgresql(engine: sa.Engine, rows: Iterator[tuple[Any, ...]]) -> None:
    """Copy the rows; true and false are numbers in them."""
    signaled, reconstructed = (COLUMNS.index(name) for name in ("signaled", "time_reconstructed"))
    with database.write(engine) as conn:
        raw = conn.connection.driver_connection
        assert raw is not None
        with raw.cursor().copy(f"COPY shots ({', '.join(COLUMNS)}) FROM STDIN") as copy:
            for row in rows:
                written = list(row)
                written[signaled], written[reconstructed] = bool(row[signaled]), bool(row[reconstructed])
                copy.write_row(written)


def _settle(engine: sa.Engine) -> None:
    """Have the tables count on from the last row, and the planner know how much there is."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as conn:
        for table in (presses, runs, shots_table, alarms):
            number = sa.func.pg_get_serial_sequence(table.name, "id")
            last = sa.select(sa.func.max(table.c.id)).scalar_subquery()
            conn.execute(sa.select(sa.func.setval(number, last)))
        conn.execute(sa.text("VACUUM ANALYZE"))


def _run_ids(starts: dict[int, list[int]]) -> dict[tuple[int, int], int]:
    """Number of a run by press and first tick, in the order of time."""
    ordered = sorted((tick, press) for press, ticks in starts.items() for tick in ticks)
    return {(press, tick): number for number, (tick, press) in enumerate(ordered, 1)}


def _frame(
    conn: sa.Connection, past: Past, starts: dict[int, list[int]], run_ids: dict[tuple[int, int], int]
) -> None:
    """Presses, runs, limits of each run, and a collector that lives."""
    conn.execute(sa.insert(heartbeats).values(name="collector", at=NOW, wall_at=NOW, detail={}))
    for press, ticks in starts.items():
        conn.execute(
            sa.insert(presses).values(
                id=press,
                site=SITE,
                name=f"P{press}",
                state="automatic",
                usual_cycle_s=60.0,
                last_shot_at=past.ended_at(press, past.ticks - 1),
                heard_at=NOW,
            )
        )
        for tick, end in zip(ticks, [*ticks[1:], None], strict=True):
            run_id = run_ids[press, tick]
            conn.execute(
                sa.insert(runs).values(
                    id=run_id,
                    press_id=press,
                    name=f"R-{run_id:05}",
                    mold="Larch 5",
                    blend="A",
                    lot="4463",
                    opened_at=past.ended_at(press, tick),
                    opened_by="message",
                    closed_at=None if end is None else past.ended_at(press, end - 1),
                )
            )
            if press % 10 or end is not None:
                rows = [_limit(press, run_id, key, retired=end is not None) for key in KEYS]
                conn.execute(sa.insert(limits), rows)


def _limit(press: int, run_id: int, key: str, *, retired: bool) -> dict[str, Any]:
    center, sigma = LEVELS[key]
    charts = [{"chart": "individuals", "parameters": {"center": center, "sigma": sigma, "width": 4.2}}]
    return {
        "press_id": press, "run_id": run_id, "context": "Larch 5|A||", "key": key, "version": 1,
        "standing": "provisional", "baseline": {"center": center, "sigma": sigma, "n": 25},
        "charts": charts, "at": NOW, "retired_at": NOW if retired else None,
    }  # fmt: skip


def _shots(
    past: Past, starts: dict[int, list[int]], run_ids: dict[tuple[int, int], int]
) -> Iterator[tuple[Any, ...]]:
    """The rows, oldest first."""
    values, shares = _drawn()
    run_start = dict.fromkeys(starts, 0)
    started = {(press, tick) for press, ticks in starts.items() for tick in ticks}
    first_at, step = to_micros(past.ended_at(1, 0)), CYCLE // timedelta(microseconds=1)
    apart = to_micros(past.ended_at(2, 0)) - first_at
    for tick in range(past.ticks):
        for press in range(1, past.presses + 1):
            if (press, tick) in started:
                run_start[press] = tick
            number, age = past.shot_id(press, tick), tick - run_start[press]
            ended_at, bad = first_at + tick * step + (press - 1) * apart, past.is_bad(press, tick)
            phase = _phase(age)
            share = (1.3 if bad else shares[number % DRAWN]) if phase == "charted" else None
            yield (
                number, press, 0, tick + 1, ended_at, ended_at + 200_000, run_ids[press, run_start[press]],
                f"P{press}-{tick // TRAY_SHOTS}", tick % TRAY_SHOTS + 1, phase, share,
                "cushion", int(bad or tick % ALARM_EVERY == 0), 0, "mqtt", values[number % DRAWN],
                '{"cooling_time":36.0,"hold_pressure":42.0}', '{"peak_melt_pressure":[684.0,"bar"]}',
                sha256(number.to_bytes(8)).digest(),
            )  # fmt: skip


def _phase(age: int) -> str:
    if age < STARTUP_SHOTS:
        return "startup"
    return "baseline" if age < STARTUP_SHOTS + BASELINE_SHOTS else "charted"


def _drawn() -> tuple[list[str], list[float]]:
    """Values as JSON and shares of the limit, to be used over and over."""
    rng = np.random.default_rng(SEED)
    levels, sigmas = np.array(list(LEVELS.values())).T
    table = np.round(levels + sigmas * rng.standard_normal((DRAWN, len(KEYS))), 3).tolist()
    rows = [json.dumps(dict(zip(KEYS, row, strict=True)), separators=(",", ":")) for row in table]
    return rows, np.round(rng.beta(2, 4, DRAWN), 3).tolist()


def _alarms(
    conn: sa.Connection, past: Past, starts: dict[int, list[int]], run_ids: dict[tuple[int, int], int]
) -> None:
    """An alarm and a hold for each time that a press was out, closed but for those that stand now."""
    number = 0
    for press in starts:
        first_ticks = [*range(0, past.ticks - 200, ALARM_EVERY), past.ticks - BAD_SHOTS]
        for first in first_ticks if press % 10 == 5 else first_ticks[:-1]:
            number += 1
            run_id = run_ids[press, max(tick for tick in starts[press] if tick <= first)]
            names = {"press_id": press, "run_id": run_id, "opened_at": past.ended_at(press, first)}
            stands = past.is_bad(press, first)
            last = past.ticks - 1 if stands else first + BAD_SHOTS
            _alarm(conn, past, number, names, (first, last), stands=stands)


def _alarm(
    conn: sa.Connection,
    past: Past,
    number: int,
    names: dict[str, Any],
    ticks: tuple[int, int],
    *,
    stands: bool,
) -> None:
    first_id, last_id = (past.shot_id(names["press_id"], tick) for tick in ticks)
    closed_at = None if stands else past.ended_at(names["press_id"], ticks[1])
    moved = Moved(
        key="cushion",
        direction=-1,
        before=5.57,
        after=5.36,
        unit="mm",
        share=1.3,
        shots=BAD_SHOTS,
        single=False,
    )
    conn.execute(
        sa.insert(alarms).values(
            **names,
            id=number,
            kind="process",
            state="active_unacknowledged" if stands else "normal",
            changed_at=names["opened_at"],
            first_shot_id=first_id,
            last_shot_id=last_id,
            change_shot_id=first_id,
            quiet_shots=0,
            characteristics=[moved.to_json()],
            headline="Cushion 0.21 mm lower",
            causes=[{"cause": "check ring worn"}],
            closed_at=closed_at,
        )
    )
    conn.execute(
        sa.insert(holds).values(
            **names,
            alarm_id=number,
            from_shot_id=first_id,
            to_shot_id=None if stands else last_id,
            state="open" if stands else "released",
            reason="Cushion 0.21 mm lower",
            opened_by="service",
            closed_at=closed_at,
        )
    )
