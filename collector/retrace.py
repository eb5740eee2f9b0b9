"""What the charts of a run say by the whole-array form, from what is stored.

The engine judged the shots one by one; this reads them back, cuts each characteristic where its charts
started anew or its limits changed, and runs the whole-array form over every piece. It must give the same
signals. Replays, the press page and the tests use it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import sqlalchemy as sa

from collector.plan import KeyLimits
from collector.press_state import KeyState
from collector.store import doubts, limits, shots
from collector.store.tables import events
from collector.store.tables import shots as shots_table
from rules.charts.chart import Track

NEVER_CHARTED = ("startup", "trial")


@dataclass(frozen=True, slots=True)
class Piece:
    """One characteristic between two restarts of its charts.

    Attributes
    ----------
    key : str
    limits : KeyLimits
        In force over the whole piece.
    shot_ids : ndarray of int64, shape (n,)
    values : ndarray of float64, shape (n,)
        Canonical unit, NaN where missing.
    tracks : tuple of Track
        One a chart of `limits`.
    end : KeyState
        The charts after the last shot.
    """

    key: str
    limits: KeyLimits
    shot_ids: np.ndarray[Any, np.dtype[np.int64]]
    values: np.ndarray[Any, np.dtype[np.float64]]
    tracks: tuple[Track, ...]
    end: KeyState


def retrace(conn: sa.Connection, run_id: int, *, keys: Sequence[str] | None = None) -> list[Piece]:
    """Every piece of a run, in order of key and time.

    Parameters
    ----------
    conn : Connection
    run_id : int
    keys : sequence of str, optional
        Only these characteristics.
    """
    marks = _marks(conn, run_id)
    wanted = sorted({mark.key for mark in marks if mark.limits_id is not None and mark.key is not None})
    if keys is not None:
        wanted = [key for key in wanted if key in keys]
    if not wanted:
        return []
    stored = shots.values(conn, run_id=run_id, keys=wanted)
    frame = in_chart_order(doubts.of_run(conn, stored, wanted, run_id=run_id))
    charted = ~frame["phase"].isin(NEVER_CHARTED)
    # Limits of a run that begins with startup shots wait for the first shot that is charted.
    places = dict(zip(frame["id"], charted.cumsum() - charted, strict=True))
    known: dict[int, KeyLimits] = {}
    return [
        piece
        for key in wanted
        for piece in _pieces(conn, key, frame[charted], _cuts(key, marks, places), known)
    ]


def in_chart_order(frame: pd.DataFrame) -> pd.DataFrame:
    """Shots as the charts must see them: by epoch and counter, without a counter by time.

    A late shot has the newest id but not the newest counter.
    """
    by_counter = bool(frame["counter"].notna().all())
    order = ["epoch", "counter"] if by_counter else ["ended_at", "id"]
    return frame.sort_values(order, kind="stable").reset_index(drop=True)


@dataclass(frozen=True, slots=True)
class _Mark:
    """From this shot on, a key (None: all) starts anew, under other limits where they are named."""

    shot_id: int
    key: str | None
    limits_id: int | None


def _marks(conn: sa.Connection, run_id: int) -> list[_Mark]:
    c = events.c
    rows = conn.execute(
        sa.select(c.shot_id, c.kind, c.key, c.new)
        .join(shots_table, shots_table.c.id == c.shot_id)
        .where(shots_table.c.run_id == run_id, c.kind.in_(("limits", "chart_restart")))
        .order_by(c.id)
    )
    return [_Mark(row.shot_id, row.key, row.new if row.kind == "limits" else None) for row in rows]


def _pieces(
    conn: sa.Connection,
    key: str,
    frame: pd.DataFrame,
    cuts: Sequence[tuple[int, int | None]],
    known: dict[int, KeyLimits],
) -> Iterator[Piece]:
    ids = frame["id"].to_numpy(dtype=np.int64)
    values = frame[key].to_numpy(dtype=np.float64)
    in_force: int | None = None
    for (start, limits_id), (stop, _) in zip(cuts, [*cuts[1:], (len(ids), None)], strict=True):
        in_force = limits_id or in_force
        if in_force is None or stop <= start:
            continue
        if in_force not in known:
            known[in_force] = limits.by_id(conn, in_force)
        yield _piece(key, known[in_force], ids[start:stop], values[start:stop])


def _cuts(
    key: str, marks: Sequence[_Mark], places: Mapping[int, int]
) -> list[tuple[int, int | None]]:
    """Positions where a key's charts start anew, with the limits that come into force there."""
    cuts: dict[int, int | None] = {}
    for mark in (mark for mark in marks if mark.key in (None, key)):
        place = int(places[mark.shot_id])
        cuts[place] = mark.limits_id or cuts.get(place)
    return sorted(cuts.items())


def _piece(key: str, in_force: KeyLimits, ids: Any, values: Any) -> Piece:
    runs = [chart.run(values) for chart in in_force.charts]
    end = KeyState(limits=in_force, states=tuple(state for state, _ in runs))
    return Piece(key, in_force, ids, values, tuple(track for _, track in runs), end)


def last_states(pieces: Sequence[Piece]) -> Mapping[str, KeyState]:
    """The charts of each characteristic after its newest piece."""
    return {piece.key: piece.end for piece in pieces}
