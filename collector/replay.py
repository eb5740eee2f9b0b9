"""After a late or corrected shot: judge the run again, and mark what changed with the reason.

Only the charts are judged again. What a person or the press said at the time (phases, restarts, limits)
stays as it was. A signal that appears or goes is never changed silently: the row says why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.engine import POINTS
from collector.press_state import PressState
from collector.retrace import Piece, last_states, retrace
from collector.store import signals
from collector.store.shots import Phase
from collector.store.tables import shots
from collector.store.tables import signals as signals_table

Name = tuple[int, str, str, str]  # shot id, key, chart, rule


@dataclass(frozen=True, slots=True)
class Place:
    """Where a late shot belongs."""

    run_id: int | None
    phase: Phase


def place_of(conn: sa.Connection, press_id: int, epoch: int, shot: Shot) -> Place:
    """Run and phase of the shot before a late one (of the shot after it, where there is none before)."""
    c = shots.c
    of_press = sa.select(c.run_id, c.phase).where(c.press_id == press_id, c.epoch == epoch)
    column: sa.Column[Any] = c.ended_at if shot.counter is None else c.counter
    mark = shot.ended_at if shot.counter is None else shot.counter
    before = conn.execute(of_press.where(column < mark).order_by(column.desc()).limit(1)).one_or_none()
    row = before or conn.execute(of_press.where(column > mark).order_by(column).limit(1)).one_or_none()
    if row is None:
        return Place(None, "startup")
    return Place(row.run_id, row.phase)


def replay(
    conn: sa.Connection, press_id: int, state: PressState, *, from_shot_id: int, why: str
) -> tuple[PressState, list[int]]:
    """Judge the run of a shot again.

    Parameters
    ----------
    conn : Connection
        A writing transaction in which every shot of the press is stored.
    press_id : int
    state : PressState
        After the newest shot.
    from_shot_id : int
        The late or corrected shot.
    why : str
        The reason that changed signals carry.

    Returns
    -------
    state : PressState
        With the charts as they would have been.
    added : list of int
        Ids of signals that appeared.
    """
    run_id = conn.execute(sa.select(shots.c.run_id).where(shots.c.id == from_shot_id)).scalar_one()
    if run_id is None:
        return state, []
    pieces = retrace(conn, run_id)
    found = _found(press_id, pieces)
    retraced = {piece.key for piece in pieces}
    stored = {name: signal_id for name, signal_id in _stored(conn, run_id).items() if name[1] in retraced}
    added = [row for name, row in found.items() if name not in stored]
    gone = [signal_id for name, signal_id in stored.items() if name not in found]
    _withdraw(conn, gone, why)
    _update_shares(conn, pieces)
    ids = signals.insert(conn, [{**row, "changed": why} for row in added])
    if run_id == state.run_id:
        state = replace(state, keys={**state.keys, **last_states(pieces)})
    return state, ids


def _found(press_id: int, pieces: Sequence[Piece]) -> dict[Name, dict[str, Any]]:
    rows: dict[Name, dict[str, Any]] = {}
    for piece in pieces:
        for chart, track in zip(piece.limits.charts, piece.tracks, strict=True):
            for index, rule in track.signals:
                shot_id = int(piece.shot_ids[index])
                rows[shot_id, piece.key, chart.name, rule] = {
                    "press_id": press_id, "shot_id": shot_id, "kind": "chart", "key": piece.key,
                    "chart": chart.name, "rule": rule, "direction": int(track.direction[index]),
                    "value": float(piece.values[index]), "statistic": float(track.statistic[index]),
                    "share": float(track.share[index]), "points": POINTS.get(rule, 1),
                    "limits_id": piece.limits.id, "withdrawn": False,
                }
    return rows


def _stored(conn: sa.Connection, run_id: int) -> dict[Name, int]:
    c = signals_table.c
    rows = conn.execute(
        sa.select(c.id, c.shot_id, c.key, c.chart, c.rule)
        .join(shots, shots.c.id == c.shot_id)
        .where(shots.c.run_id == run_id, c.kind == "chart", c.withdrawn.is_(False))
    )
    return {(row.shot_id, row.key, row.chart, row.rule): row.id for row in rows}


def _withdraw(conn: sa.Connection, ids: Sequence[int], why: str) -> None:
    for signal_id in ids:
        conn.execute(
            sa.update(signals_table)
            .where(signals_table.c.id == signal_id)
            .values(withdrawn=True, changed=why)
        )


def _update_shares(conn: sa.Connection, pieces: Sequence[Piece]) -> None:
    """Largest share and signaled or not, of every judged shot whose verdict changed."""
    largest = _largest(pieces)
    rows = conn.execute(
        sa.select(shots.c.id, shots.c.share, shots.c.signaled).where(shots.c.id.in_(list(largest)))
    ).all()
    for row in rows:
        share, key, signaled = largest[row.id]
        same = row.share is not None and math.isclose(row.share, share, rel_tol=1e-9, abs_tol=1e-12)
        if not same or (signaled and not row.signaled):
            conn.execute(
                sa.update(shots)
                .where(shots.c.id == row.id)
                .values(share=share, share_key=key, signaled=signaled)
            )


def _largest(pieces: Sequence[Piece]) -> Mapping[int, tuple[float, str, bool]]:
    largest: dict[int, tuple[float, str, bool]] = {}
    for piece in pieces:
        for track in piece.tracks:
            signaled = {index for index, _ in track.signals}
            for index, (shot_id, share) in enumerate(zip(piece.shot_ids, track.share, strict=True)):
                before = largest.get(int(shot_id), (-math.inf, "", False))
                also = before[2] or index in signaled
                if not math.isnan(share) and share > before[0]:
                    largest[int(shot_id)] = (float(share), piece.key, also)
                elif also != before[2]:
                    largest[int(shot_id)] = (before[0], before[1], also)
    return {shot_id: each for shot_id, each in largest.items() if each[1]}
