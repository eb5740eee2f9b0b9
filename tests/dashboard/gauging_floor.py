"""Adds to the small store what the dome and gauging pages need: old discs, a hold, readings."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
import sqlalchemy as sa

from collector.gauging.model import NewGauging
from collector.gauging.record import record
from collector.store import database, holds, presses, runs, tables
from collector.store.shots import NewShot, insert

DRIFT = range(60, 96)  # shots of the run that run warm; the charts see it from 66 on


def old_run(
    engine: sa.Engine,
    now: datetime,
    *,
    name: str = "R-0401",
    press: str = "P2",
    mold: str = "Larch 5",
    hours: float = 40,
    seed: int = 1,
) -> list[int]:
    """A run of 120 shots that ended `hours` ago, its core warm for 36 shots, with signals, alarm and hold."""
    rng = np.random.default_rng(seed)
    core = 31.4 + 0.2 * rng.standard_normal(120)
    core[list(DRIFT)] += 3.0
    start = now - timedelta(hours=hours, minutes=120)
    with database.write(engine) as conn:
        press_id = presses.find_or_add(conn, "lowland", press).id
        run_id = runs.open_run(conn, press_id, name, at=start, opened_by="message", mold=mold, blend="A").id
        ids = insert(conn, [_shot(press_id, run_id, i, float(core[i]), start) for i in range(120)])
        _alarm(conn, press_id, run_id, ids, start)
    return ids


def _shot(press_id: int, run_id: int, index: int, core: float, start: datetime) -> NewShot:
    at = start + timedelta(minutes=index)
    return NewShot(
        press_id=press_id, epoch=0, counter=index + 1, ended_at=at, received_at=at, run_id=run_id,
        tray=str(70 + index // 20), tray_position=index % 20 + 1, phase="charted", share=0.5,
        signaled=index in DRIFT and index >= 66, source="mqtt",
        values={"mold_core_temperature": core, "cushion": 6.1 + 0.01 * (index % 7), "cooling_time": 36.0},
    )  # fmt: skip


def _alarm(conn: sa.Connection, press_id: int, run_id: int, ids: list[int], start: datetime) -> None:
    first, change, last = ids[66], ids[60], ids[95]
    alarm = {
        "press_id": press_id, "run_id": run_id, "kind": "process", "state": "active_acknowledged",
        "opened_at": start, "changed_at": start, "first_shot_id": first, "last_shot_id": last,
        "change_shot_id": change, "quiet_shots": 20, "characteristics": [],
        "headline": "Mold core 3.0 °C warmer",
    }  # fmt: skip
    alarm_id = conn.execute(
        sa.insert(tables.alarms).values(**alarm).returning(tables.alarms.c.id)
    ).scalar_one()
    for shot_id in ids[66:96]:
        conn.execute(
            sa.insert(tables.signals).values(
                press_id=press_id,
                shot_id=shot_id,
                kind="chart",
                key="mold_core_temperature",
                chart="cusum",
                rule="beyond_limit",
                direction=1,
                value=34.0,
                statistic=9.0,
                share=1.1,
                points=1,
                alarm_id=alarm_id,
                withdrawn=False,
            )
        )
    holds.open_new(
        conn,
        {"press_id": press_id, "run_id": run_id, "alarm_id": alarm_id, "from_shot_id": change,
         "to_shot_id": last, "reason": "Mold core 3.0 °C warmer", "opened_by": "service", "opened_at": start},
    )  # fmt: skip


def gauge(
    engine: sa.Engine,
    ids: list[int],
    now: datetime,
    *,
    every: int = 2,
    ago_h: float = 1.0,
    dome: Callable[[int], float] | None = None,
    seed: int = 2,
) -> None:
    """Dome readings of every so-manieth disc of a run, taken `ago_h` before now: warm discs dome higher."""
    noise = 0.08 * np.random.default_rng(seed).standard_normal(len(ids))
    usual = dome or (lambda index: 2.1 + 0.6 * (index in DRIFT) + float(noise[index]))
    new = [
        NewGauging(
            site="lowland", shot_id=shot_id, characteristic="dome", value=round(usual(index), 2), unit="mm",
            gauged_at=now - timedelta(hours=ago_h), gauge="height gauge 1", who="operator 1",
        )
        for index, shot_id in enumerate(ids)
        if index % every == 0
    ]  # fmt: skip
    with database.write(engine) as conn:
        record(conn, new, now=now - timedelta(hours=ago_h), source="test")
