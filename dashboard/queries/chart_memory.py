"""Cumulative statistics again, from the stored values: what a CUSUM or EWMA remembered at every shot.

The engine keeps only the newest state of a chart. Its past follows from the values: a chart starts when its
limits come into force, starts anew where an event says so, and sees every charted shot in between.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.store import shots as shot_rows
from collector.store.tables import events
from dashboard.queries.press import View
from rules.charts import CusumChart, EwmaChart
from rules.charts.chart import Chart

CUMULATIVE = (CusumChart.name, EwmaChart.name)
MOST_REPLAYED = 50_000


def memories(conn: Connection, press_id: int, view: View) -> dict[str, pd.DataFrame]:
    """Share of its limit of every cumulative chart in the view.

    Returns
    -------
    dict of str to DataFrame
        By key: columns id, share, piece (rises where the chart began anew); shots of the view only.
    """
    segments = [
        (row, chart) for row in view.limits.itertuples() for chart in row.charts if chart.name in CUMULATIVE
    ]
    if not segments or view.shots.empty:
        return {}
    restarts = _restarts(conn, press_id)
    first_shown = int(view.shots["id"].min())
    begin = min(_begin(row, restarts, first_shown) for row, _ in segments)
    values = shot_rows.values(
        conn,
        press_id=press_id,
        keys=sorted({row.key for row, _ in segments}),
        after_id=begin - 1,
        until=view.until + pd.Timedelta(microseconds=1),
        phases=["charted"],
        last=MOST_REPLAYED,
    )
    found: dict[str, list[pd.DataFrame]] = {}
    for row, chart in segments:
        frame = _replay(row, chart, values, restarts, _end(row, view))
        found.setdefault(row.key, []).append(frame[frame["id"] >= first_shown])
    return {key: _numbered(frames) for key, frames in found.items()}


def _restarts(conn: Connection, press_id: int) -> pd.DataFrame:
    query = sa.select(events.c.shot_id, events.c.key).where(
        events.c.press_id == press_id, events.c.kind == "chart_restart", events.c.shot_id.is_not(None)
    )
    return pd.DataFrame(conn.execute(query).all(), columns=["shot_id", "key"])


def _of_key(restarts: pd.DataFrame, key: str) -> np.ndarray[Any, np.dtype[np.int64]]:
    chosen = restarts[restarts["key"].isna() | (restarts["key"] == key)]
    return np.sort(chosen["shot_id"].to_numpy(dtype=np.int64))


def _begin(row: Any, restarts: pd.DataFrame, first_shown: int) -> int:
    """Where the replay must begin so that the first shot shown has its true statistic."""
    earlier = _of_key(restarts, row.key)
    earlier = earlier[earlier <= first_shown]
    return max(int(row.from_shot_id), int(earlier[-1]) if len(earlier) else 0)


def _end(row: Any, view: View) -> float:
    later = view.limits[(view.limits["key"] == row.key) & (view.limits["from_shot_id"] > row.from_shot_id)]
    return float("inf") if later.empty else float(later["from_shot_id"].min())


def _replay(
    row: Any, chart: Chart[Any], values: pd.DataFrame, restarts: pd.DataFrame, end: float
) -> pd.DataFrame:
    seen = values[(values["id"] >= row.from_shot_id) & (values["id"] < end)]
    piece = np.searchsorted(_of_key(restarts, row.key), seen["id"].to_numpy(), side="right")
    shares = [chart.run(part)[1].share for part in _split(seen[row.key].to_numpy(), piece)]
    return pd.DataFrame(
        {"id": seen["id"].to_numpy(), "share": np.concatenate([np.empty(0), *shares]), "piece": piece}
    )


def _split(values: np.ndarray[Any, Any], piece: np.ndarray[Any, Any]) -> list[np.ndarray[Any, Any]]:
    return np.split(values, np.flatnonzero(np.diff(piece)) + 1) if len(values) else []


def _numbered(frames: list[pd.DataFrame]) -> pd.DataFrame:
    """All frames in one, with pieces that differ between limits too."""
    for number, frame in enumerate(frames):
        frame["piece"] += number * 1_000_000
    return pd.concat(frames, ignore_index=True)
