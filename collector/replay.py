"""After a late or corrected shot: judge the run again, and mark what changed with the reason.

Only the charts are judged again. What a person or the press said at the time (phases, restarts, limits)
stays as it was. A signal that appears or goes is never changed silently: the row says why.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa

from collector.contract.shot import Shot
from collector.press_state import PressState, dump, load
from collector.retrace import Piece, last_states, retrace
from collector.store import archives, events, limits, presses, runs, signals
from collector.store.shots import Phase
from collector.store.tables import shots
from collector.store.tables import signals as signals_table
from collector.verdict import POINTS

Name = tuple[int, str, str, str]  # shot id, key, chart, rule
STATED = ("direction", "value", "statistic", "share")  # what a signal says besides its name


@dataclass(frozen=True, slots=True)
class Place:
    """Where a late shot belongs."""

    run_id: int | None
    phase: Phase


def place_of(conn: sa.Connection, press_id: int, epoch: int, shot: Shot) -> Place:
    """Run and phase of the shot before a late one (of the shot after it, where there is none before).

    Where the late shot names a run that is known, only shots of that run count as its neighbors, unless a
    person's run had taken them over.
    """
    c = shots.c
    named = None if shot.run is None else runs.by_name(conn, press_id, shot.run)
    of_press = sa.select(c.run_id, c.phase).where(c.press_id == press_id, c.epoch == epoch)
    column: sa.Column[Any] = c.ended_at if shot.counter is None else c.counter
    mark = shot.ended_at if shot.counter is None else shot.counter
    before = conn.execute(of_press.where(column < mark).order_by(column.desc()).limit(1)).one_or_none()
    if named is not None and not (before and _is_taken_over(conn, press_id, before.run_id, shot)):
        of_press = of_press.where(c.run_id == named.id)
        before = conn.execute(of_press.where(column < mark).order_by(column.desc()).limit(1)).one_or_none()
    row = before or conn.execute(of_press.where(column > mark).order_by(column).limit(1)).one_or_none()
    if row is None:
        return Place(None if named is None else named.id, "startup")
    return Place(row.run_id, row.phase)


def _is_taken_over(conn: sa.Connection, press_id: int, run_id: int | None, shot: Shot) -> bool:
    """Whether a late shot was made while a person's run had the shots of the one that it names."""
    if run_id is None or shot.run is None:
        return False
    run = runs.by_id(conn, run_id)
    ended = run.closed_at is not None and shot.ended_at > run.closed_at
    return run.opened_by == runs.FORM and not ended and events.takes_over(conn, press_id, run_id, shot.run)


def replay(
    conn: sa.Connection, press_id: int, state: PressState, *, run_id: int, why: str,
    begun: Collection[str | None] = (),
) -> tuple[PressState, list[int]]:
    """Judge a run again.

    Parameters
    ----------
    conn : Connection
        A writing transaction in which every shot of the press is stored.
    press_id : int
    state : PressState
        After the newest shot.
    run_id : int
        The run of the late or corrected shots.
    why : str
        The reason that changed signals carry.
    begun : collection of str or None
        Characteristics (None: all) whose charts start anew with the next shot; their states stay.

    Returns
    -------
    state : PressState
        With the charts as they would have been.
    added : list of int
        Ids of signals that appeared.
    """
    if archives.is_archived(conn, run_id):
        return state, []  # without its values every signal of the run would seem to have been wrong
    pieces = retrace(conn, run_id)
    found = _found(press_id, pieces)
    retraced = {piece.key for piece in pieces}
    stored = {name: row for name, row in _stored(conn, run_id).items() if name[1] in retraced}
    added = [row for name, row in found.items() if name not in stored]
    _withdraw(conn, [row.id for name, row in stored.items() if name not in found], why)
    _restate(conn, [(row, found[name]) for name, row in stored.items() if name in found], why)
    ids = signals.insert(conn, [{**row, "changed": why} for row in added])
    _update_shares(conn, run_id, pieces)
    if run_id == state.run_id and None not in begun:
        moved = {key: each for key, each in last_states(pieces).items() if key not in begun}
        state = replace(state, keys={**state.keys, **moved})
    return state, ids


def judge_again(
    conn: sa.Connection, press_id: int, run_id: int, *, why: str, joined: Collection[int] = ()
) -> None:
    """Judge a run again whose shots changed beside the press, which is locked; its charts go on from there.

    Parameters
    ----------
    conn, press_id, run_id, why
        As for :func:`replay`.
    joined : collection of int
        Runs whose shots are of this run now; a press that stands in one of them goes on in this one.
    """
    stored = presses.load_engine_state(conn, press_id)
    if stored is None:
        return
    state = load(stored, lambda each: limits.by_id(conn, each))
    if state.run_id in joined:
        state = replace(state, run_id=run_id)
    state, _ = replay(conn, press_id, state, run_id=run_id, why=why)
    presses.save_engine_state(conn, press_id, dump(state), last_shot_id=None)


def _found(press_id: int, pieces: Sequence[Piece]) -> dict[Name, dict[str, Any]]:
    rows: dict[Name, dict[str, Any]] = {}
    for piece in pieces:
        for chart, track in zip(piece.limits.charts, piece.tracks, strict=True):
            for index, rule in track.signals:
                shot_id = int(piece.shot_ids[index])
                rows[shot_id, piece.key, chart.name, rule] = {
                    "press_id": press_id, "shot_id": shot_id, "kind": "chart", "key": piece.key,
                    "chart": chart.name, "rule": rule, "direction": int(track.direction[index]),
                    "value": signals.finite(float(piece.values[index])),
                    "statistic": signals.finite(float(track.statistic[index])),
                    "share": signals.finite(float(track.share[index])), "points": POINTS.get(rule, 1),
                    "limits_id": piece.limits.id, "withdrawn": False,
                }
    return rows


def _stored(conn: sa.Connection, run_id: int) -> dict[Name, sa.Row[Any]]:
    c = signals_table.c
    rows = conn.execute(
        sa.select(c.id, c.shot_id, c.key, c.chart, c.rule, *(c[name] for name in STATED))
        .join(shots, shots.c.id == c.shot_id)
        .where(shots.c.run_id == run_id, c.kind == "chart", c.withdrawn.is_(False))
    )
    return {(row.shot_id, row.key, row.chart, row.rule): row for row in rows}


def _withdraw(conn: sa.Connection, ids: Sequence[int], why: str) -> None:
    for signal_id in ids:
        conn.execute(
            sa.update(signals_table)
            .where(signals_table.c.id == signal_id)
            .values(withdrawn=True, changed=why)
        )


def _restate(conn: sa.Connection, pairs: Sequence[tuple[sa.Row[Any], dict[str, Any]]], why: str) -> None:
    """Signals that stand, but not as they were: a CUSUM goes on from what came late before it."""
    for row, new in pairs:
        if not all(_same(getattr(row, name), new[name]) for name in STATED):
            values = {name: new[name] for name in STATED}
            conn.execute(
                sa.update(signals_table)
                .where(signals_table.c.id == row.id)
                .values(**values, changed=why)
            )


def _same(stored: float | None, new: float | None) -> bool:
    if stored is None or new is None:
        return stored is new
    return math.isclose(stored, new, rel_tol=1e-9, abs_tol=1e-12)


def _update_shares(conn: sa.Connection, run_id: int, pieces: Sequence[Piece]) -> None:
    """Largest share and signaled or not, of every judged shot whose verdict changed."""
    largest, told = _largest(pieces), _signaled(conn, run_id)
    c = shots.c
    rows = conn.execute(sa.select(c.id, c.share, c.signaled).where(c.run_id == run_id)).all()
    for row in rows:
        if row.id not in largest:
            continue
        share, key = largest[row.id]
        signaled = row.id in told
        if not _same(row.share, share) or signaled != row.signaled:
            conn.execute(
                sa.update(shots).where(c.id == row.id).values(share=share, share_key=key, signaled=signaled)
            )


def _signaled(conn: sa.Connection, run_id: int) -> set[int]:
    """Shots with a signal that stands, of the charts or of another kind."""
    c = signals_table.c
    query = sa.select(c.shot_id).join(shots, shots.c.id == c.shot_id)
    return set(conn.execute(query.where(shots.c.run_id == run_id, c.withdrawn.is_(False))).scalars())


def _largest(pieces: Sequence[Piece]) -> dict[int, tuple[float, str]]:
    largest: dict[int, tuple[float, str]] = {}
    for piece in pieces:
        for track in piece.tracks:
            for shot_id, share in zip(piece.shot_ids.tolist(), track.share.tolist(), strict=True):
                if not math.isnan(share) and (shot_id not in largest or share > largest[shot_id][0]):
                    largest[shot_id] = (share, piece.key)
    return largest
