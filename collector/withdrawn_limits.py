"""Provisional limits that were learned from shots which are taken back: they go, and what rests on them.

A run that comes in several files has the limits that its first one gave it. Where that one is taken back, the
shots of the others were held against another process; the press learns anew with its next shots.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import NamedTuple

import sqlalchemy as sa

from collector.store.tables import events, limits, shots, signals

__all__ = ["drop"]


class _Mark(NamedTuple):
    """Limits of a run, and the first shot that was held against them."""

    limits_id: int
    run_id: int
    key: str
    shot_id: int


def drop(
    conn: sa.Connection, moved: sa.Select[tuple[int]], run_ids: Collection[int], *, aside_id: int, why: str
) -> set[int]:
    """Take away the limits that came into force among the moved shots, of runs that have other shots left.

    Parameters
    ----------
    conn : Connection
        A writing transaction, with the moved shots and their events moved already.
    moved : Select
        Ids of the shots that are taken back.
    run_ids : collection of int
        The runs that they were in.
    aside_id : int
        The press that keeps what is taken back.
    why : str
        The reason that withdrawn signals carry.

    Returns
    -------
    set of int
        Ids of the limits.
    """
    dropped = set()
    for mark in _marks(conn, moved, run_ids):
        _withdraw(conn, mark, why)
        conn.execute(sa.update(limits).where(limits.c.id == mark.limits_id).values(press_id=aside_id))
        dropped.add(mark.limits_id)
    return dropped


def _marks(conn: sa.Connection, moved: sa.Select[tuple[int]], run_ids: Collection[int]) -> Iterator[_Mark]:
    e, c = events.c, limits.c
    begun = sa.select(e.new, e.key, e.shot_id).where(e.kind == "limits", e.shot_id.in_(moved))
    for event in conn.execute(begun).all():
        own = sa.select(c.run_id).where(c.id == event.new, c.run_id.in_(run_ids), c.approved_by.is_(None))
        run_id = conn.execute(own).scalar()
        if run_id is not None:
            yield _Mark(event.new, run_id, event.key, event.shot_id)


def _withdraw(conn: sa.Connection, mark: _Mark, why: str) -> None:
    """Signals of these limits, and shares of what is left of the run until others came into force."""
    e, c, s = events.c, shots.c, signals.c
    following = sa.select(sa.func.min(e.shot_id)).join(shots, c.id == e.shot_id).where(
        e.kind == "limits", e.key == mark.key, e.shot_id > mark.shot_id, c.run_id == mark.run_id
    )  # fmt: skip
    until = conn.execute(following).scalar()
    held = [c.run_id == mark.run_id, c.id > mark.shot_id, *([] if until is None else [c.id < until])]
    of_run = sa.select(c.id).where(c.run_id == mark.run_id)
    resting = (s.shot_id.in_(of_run), s.limits_id == mark.limits_id, s.withdrawn.is_(False))
    conn.execute(sa.update(signals).where(*resting).values(withdrawn=True, changed=why))
    told = sa.select(s.id).where(s.shot_id == c.id, s.withdrawn.is_(False)).exists()
    shown = sa.update(shots).where(*held, c.share_key == mark.key)
    conn.execute(shown.values(share=None, share_key=None, signaled=told))
