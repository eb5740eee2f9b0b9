"""A small store with a story to show: invented data, judged by the real charts.

Six lanes that look different: steady, drifting with an alarm and a growing hold, one single bad shot,
starting, silent, idle. `seed` takes the names wanted, so a test that needs two presses stores two.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
import streamlit as st

from collector.alarms import causes
from collector.alarms.model import Moved
from collector.clock import wall_now
from collector.store import database, shots, tables
from collector.store.shots import NewShot
from rules.charts import make

NOW = datetime(2026, 3, 3, 13, 52, tzinfo=UTC)
CYCLE_S = 64.8
USUAL = {
    "injection_time": (2.41, 0.012),
    "peak_melt_pressure": (74.2, 0.35),
    "cushion": (6.1, 0.14),
    "recovery_time": (17.9, 0.16),
    "cycle_time": (CYCLE_S, 0.05),
    "mold_core_temperature": (31.4, 0.22),
    "mold_cavity_temperature": (29.8, 0.22),
    "part_weight": (175.3, 0.12),
}
TIMERS = {"hold_time": 8.0, "cooling_time": 36.0}
WIDTH, K, H = 4.1, 0.5, 8.0


@dataclass(frozen=True)
class Story:
    """What one press went through in its last hours."""

    run: str
    mold: str
    blend: str
    lot: str
    count: int = 280
    first_counter: int = 760
    startup: int = 10
    baseline: int = 25
    ended_h_ago: float = 0.006
    closed: bool = False
    drift_from: int | None = None  # shots before the end
    bad_shot: int | None = None  # shots before the end
    extra: dict[str, Any] = field(default_factory=dict)


STORIES = {
    "P1": Story("R-0412", "Alder 9", "B", "7731", first_counter=924),
    "P2": Story("R-0413", "Larch 5", "A", "7702", drift_from=46, first_counter=760),
    "P3": Story("R-0409", "Rowan 12", "C", "7689", bad_shot=44),
    "P4": Story("R-0414", "Rowan 7", "A", "7702", count=32, first_counter=4),
    "P5": Story("R-0408", "Hazel 7", "B", "7731", ended_h_ago=0.57, first_counter=1597),
    "P6": Story("R-0405", "Alder 9", "C", "7689", ended_h_ago=3.2, closed=True),
}


def seed(engine: sa.Engine, presses: Sequence[str] = ("P1", "P2"), *, alive: bool = True) -> None:
    """Fill an empty store; the service clock stands at `NOW` as this returns and runs on at speed 1."""
    database.upgrade(engine)
    with database.write(engine) as conn:
        for name in presses:
            _press(conn, name, STORIES[name])
        wall = wall_now()
        conn.execute(sa.insert(tables.clocks).values(id=1, wall_anchor=wall, service_anchor=NOW, speed=1.0))
        # An hour ahead, so that a slow test does not see the collector die.
        seen = timedelta(hours=1) if alive else timedelta(minutes=-12)
        conn.execute(
            sa.insert(tables.heartbeats).values(
                name="collector", wall_at=wall + seen, at=NOW + min(seen, -seen)
            )
        )


def _press(conn: sa.Connection, name: str, story: Story) -> None:
    last_at = NOW - timedelta(hours=story.ended_h_ago)
    press_id = _insert(
        conn,
        tables.presses,
        site="lowland",
        name=name,
        state="online",
        state_at=NOW,
        last_shot_at=last_at,
        heard_at=last_at,
        usual_cycle_s=CYCLE_S,
    )
    opened = last_at - timedelta(seconds=CYCLE_S * story.count)
    run_id = _insert(
        conn,
        tables.runs,
        press_id=press_id,
        name=story.run,
        mold=story.mold,
        blend=story.blend,
        lot=story.lot,
        color="gray",
        opened_at=opened,
        opened_by="message",
        closed_at=last_at + timedelta(minutes=1) if story.closed else None,
    )
    values = _values(name, story)
    tracks, limits_ids = _judge(conn, press_id, run_id, story=story, values=values, at=opened)
    ids = _shots(conn, press_id, run_id, story=story, values=values, tracks=tracks, last_at=last_at)
    conn.execute(
        sa.update(tables.limits)
        .where(tables.limits.c.press_id == press_id)
        .values(from_shot_id=ids[min(story.startup + story.baseline, len(ids)) - 1])
    )
    signal_ids = _signals(conn, press_id, ids, tracks, limits_ids)
    _events(conn, press_id, ids, opened, story)
    _alarm(conn, press_id, run_id, ids=ids, signal_ids=signal_ids, story=story, last_at=last_at)
    _gaugings(conn, press_id, run_id, ids, last_at)


def _insert(conn: sa.Connection, table: sa.Table, **row: Any) -> int:
    return int(conn.execute(sa.insert(table).values(**row).returning(table.c.id)).scalar_one())


def _values(name: str, story: Story) -> dict[str, np.ndarray]:
    # A digest, since Python's hash of a text differs from process to process.
    rng = np.random.default_rng(list(hashlib.sha256(name.encode()).digest()[:4]))
    found = {key: center + sigma * rng.standard_normal(story.count) for key, (center, sigma) in USUAL.items()}
    found |= {key: np.full(story.count, value) for key, value in TIMERS.items()}
    if story.drift_from is not None:
        ramp = np.clip(np.arange(-story.count, 0) + story.drift_from + 1, 0, None)
        found["mold_core_temperature"] += 3.1 * (1 - np.exp(-ramp / 18))
        found["cushion"] -= 0.2 * (1 - np.exp(-ramp / 18))
    if story.bad_shot is not None:
        found["cushion"][-story.bad_shot] = 1.2
    warming = np.exp(-np.arange(story.count) / 4)
    found["mold_core_temperature"] -= 6 * warming
    found["peak_melt_pressure"] += 5 * warming
    return {key: np.round(column, 3) for key, column in found.items()}


def _judge(
    conn: sa.Connection,
    press_id: int,
    run_id: int,
    *,
    story: Story,
    values: dict[str, np.ndarray],
    at: datetime,
) -> tuple[dict[tuple[str, str], Any], dict[str, int]]:
    """Store limits, and run the charts over what comes after the baseline."""
    first = story.startup + story.baseline
    tracks: dict[tuple[str, str], Any] = {}
    ids: dict[str, int] = {}
    if story.count <= first:
        return tracks, ids
    for key, (center, sigma) in USUAL.items():
        common = {"center": center, "sigma": sigma}
        plan = [("individuals", {**common, "width": WIDTH}), ("cusum", {**common, "k": K, "h": H})]
        charts = [make(chart, parameters) for chart, parameters in plan]
        ids[key] = _insert(
            conn,
            tables.limits,
            press_id=press_id,
            context="demo",
            run_id=run_id,
            key=key,
            version=1,
            standing="provisional" if key == "part_weight" else "usable",
            baseline={"center": center, "sigma": sigma, "n": 25, "phi": 0.0, "sigma_method": "moving_range"},
            charts=[{"chart": chart.name, "parameters": chart.parameters()} for chart in charts],
            cost={"false_alarms_per_shift": 0.33, "false_alarms_per_day": 1.0},
            at=at,
            reason="first steady shots",
        )
        for chart in charts:
            tracks[key, chart.name] = chart.run(values[key][first:])[1]
    return tracks, ids


def _shots(
    conn: sa.Connection,
    press_id: int,
    run_id: int,
    *,
    story: Story,
    values: dict[str, np.ndarray],
    tracks: dict[tuple[str, str], Any],
    last_at: datetime,
) -> list[int]:
    first = story.startup + story.baseline
    new = []
    for index in range(story.count):
        at = last_at - timedelta(seconds=CYCLE_S * (story.count - 1 - index))
        phase = "startup" if index < story.startup else "baseline" if index < first else "charted"
        shares = {key: track.share[index - first] for (key, _), track in tracks.items() if index >= first}
        share_key = max(shares, key=lambda key: shares[key]) if shares else None
        share = max(float(track.share[index - first]) for track in tracks.values()) if shares else None
        new.append(
            NewShot(
                press_id=press_id,
                epoch=1,
                counter=story.first_counter + index,
                ended_at=at,
                received_at=at,
                run_id=run_id,
                tray=str(20 + index // 12),
                tray_position=index % 12 + 1,
                phase=phase,
                share=share,
                share_key=share_key,
                signaled=share is not None and share > 1.0,
                source="mqtt",
                values={key: float(column[index]) for key, column in values.items()},
                setpoints=TIMERS,
                originals={
                    "peak_melt_pressure": (round(float(values["peak_melt_pressure"][index]) * 10, 2), "bar")
                },
            )
        )
    return shots.insert(conn, new)


def _signals(
    conn: sa.Connection,
    press_id: int,
    ids: list[int],
    tracks: dict[tuple[str, str], Any],
    limits_ids: dict[str, int],
) -> list[tuple[int, int]]:
    found = []
    for (key, chart), track in tracks.items():
        first = len(ids) - len(track.share)
        for index, rule in track.signals:
            shot_id = ids[first + index]
            signal_id = _insert(
                conn,
                tables.signals,
                press_id=press_id,
                shot_id=shot_id,
                kind="chart",
                key=key,
                chart=chart,
                rule=rule,
                direction=int(track.direction[index]),
                statistic=float(track.statistic[index]),
                share=float(track.share[index]),
                points=1,
                limits_id=limits_ids[key],
                withdrawn=False,
            )
            found.append((signal_id, shot_id))
    return found


def _events(conn: sa.Connection, press_id: int, ids: list[int], opened: datetime, story: Story) -> None:
    rows = [("run", 0, None, story.run), ("startup", 0, None, None)]
    if story.count > 100:
        rows += [("chart_restart", story.startup, None, None), ("lot", 200, "7689", story.lot)]
    for kind, index, old, new in rows:
        conn.execute(
            sa.insert(tables.events).values(
                press_id=press_id,
                at=opened + timedelta(seconds=CYCLE_S * index),
                shot_id=ids[index],
                kind=kind,
                old=old,
                new=new,
                source="mqtt",
            )
        )


def _alarm(
    conn: sa.Connection,
    press_id: int,
    run_id: int,
    *,
    ids: list[int],
    signal_ids: list[tuple[int, int]],
    story: Story,
    last_at: datetime,
) -> None:
    if story.drift_from is not None:
        change, headline = ids[-story.drift_from], "Mold core 3.1 °C warmer; cushion 0.2 mm lower"
        moved = Moved(
            key="mold_core_temperature",
            direction=1,
            before=31.4,
            after=34.5,
            unit="degC",
            share=1.25,
            shots=43,
            single=False,
        )
        last, state, to_id, reason = ids[-1], "active_unacknowledged", None, "Mold core 3.1 °C warmer"
    elif story.bad_shot is not None:
        change, headline = ids[-story.bad_shot], "Cushion low, one shot"
        moved = Moved(
            key="cushion",
            direction=-1,
            before=6.1,
            after=1.2,
            unit="mm",
            share=8.5,
            shots=1,
            single=True,
        )
        last, state, to_id, reason = change, "returned_unacknowledged", change + 1, "Cushion low, one shot"
    else:
        return
    first = min(shot_id for _, shot_id in signal_ids if shot_id >= change)
    alarm_id = _insert(
        conn,
        tables.alarms,
        press_id=press_id,
        run_id=run_id,
        kind="process",
        state=state,
        opened_at=last_at - timedelta(minutes=20),
        changed_at=last_at,
        first_shot_id=first,
        last_shot_id=last,
        change_shot_id=change,
        change_low_shot_id=change - 2,
        change_high_shot_id=change + 3,
        quiet_shots=0,
        characteristics=[moved.to_json()],
        headline=headline,
        causes=[each.to_json() for each in causes.match({moved.key: moved.direction}, single=moved.single)],
    )
    wanted = [signal_id for signal_id, shot_id in signal_ids if shot_id >= change]
    conn.execute(sa.update(tables.signals).where(tables.signals.c.id.in_(wanted)).values(alarm_id=alarm_id))
    _insert(
        conn,
        tables.holds,
        press_id=press_id,
        run_id=run_id,
        alarm_id=alarm_id,
        from_shot_id=change - 1,
        to_shot_id=to_id,
        state="open",
        reason=reason,
        opened_by="service",
        opened_at=last_at,
    )


def _gaugings(conn: sa.Connection, press_id: int, run_id: int, ids: list[int], last_at: datetime) -> None:
    for index, shot_id in enumerate(ids[12:24]):
        _insert(
            conn,
            tables.gaugings,
            site="lowland",
            characteristic="weight",
            value=175.1 + 0.02 * index,
            unit="g",
            gauged_at=last_at,
            age_h=3.0,
            received_at=last_at,
            press_id=press_id,
            run_id=run_id,
            shot_id=shot_id,
            joined_by="shot",
            gauge="scale 1",
            who="operator 1",
            source="form",
            identity=hashlib.sha256(f"{press_id} {shot_id}".encode()).digest(),
        )


@pytest.fixture(name="seed")
def _seed() -> Callable[..., None]:
    """The function that fills a store."""
    return seed


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[sa.Engine]:
    """An empty, upgraded SQLite store that the pages of this test read."""
    url = f"sqlite:///{tmp_path / 'evenrun.db'}"
    monkeypatch.setenv("EVENRUN_DATABASE_URL", url)
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", "names")
    monkeypatch.chdir(tmp_path)
    engine = database.open_engine(url)
    database.upgrade(engine)
    _forget()
    yield engine
    _forget()
    engine.dispose()


@pytest.fixture
def two_presses(store: sa.Engine) -> sa.Engine:
    """A store with P1 (steady) and P2 (drifting, an alarm with a growing hold)."""
    seed(store, ("P1", "P2"))
    return store


@pytest.fixture
def six_presses(store: sa.Engine) -> sa.Engine:
    """A store with one press of each kind."""
    seed(store, tuple(STORIES))
    return store


def _forget() -> None:
    st.cache_data.clear()
    st.cache_resource.clear()
