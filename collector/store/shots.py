"""Storing shots (`collector.store.shot_rows`), and reading their values back as columns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa

from collector.store import digest, shot_values
from collector.store.shot_rows import NewShot, Phase, insert
from collector.store.tables import presses, shots
from collector.store.withdrawn import own_press

__all__ = ["NewShot", "Phase", "broken_digests", "insert", "keys", "run_of", "values"]

_FRAME = {
    "id": "int64",
    "counter": "Int64",
    "epoch": "int64",
    "ended_at": "int64",
    "tray": "str",
    "tray_position": "Int64",
    "phase": "str",
    "share": "float64",
    "share_key": "str",
    "signaled": "bool",
}


def values(
    conn: sa.Connection,
    *,
    press_id: int | None = None,
    run_id: int | None = None,
    keys: Sequence[str],
    after_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    phases: Sequence[str] | None = None,
    last: int | None = None,
) -> pd.DataFrame:
    """Read shots and the values of some keys, in the order in which the charts saw them.

    Parameters
    ----------
    conn : Connection
        From :func:`collector.store.database.read` or ``write``.
    press_id, run_id, after_id, phases
        Only shots of this press, of this run, with a larger id, of these phases.
    keys : sequence of str
        Characteristics to read; one float column each, canonical unit, NaN where a shot has none.
    since, until : datetime
        Only shots that ended at or after `since` and before `until`.
    last : int
        Only the newest so many of what the other arguments leave.

    Returns
    -------
    DataFrame
        Columns id, counter (Int64, which may be missing), epoch, ended_at (datetime64[us, UTC]), tray,
        tray_position (Int64), phase, share, share_key, signaled, then the keys; one row a shot, rising by id.
    """
    where = _conditions(
        press_id=press_id, run_id=run_id, after_id=after_id, since=since, until=until, phases=phases
    )
    query = sa.select(*_frame_columns(), shot_values.as_text()).where(*where)
    if last is None:
        rows = _fetch(conn, query.order_by(shots.c.id))
    else:
        rows = _fetch(conn, query.order_by(shots.c.id.desc()).limit(last))[::-1]
    return _frame(rows, keys)


def keys(
    conn: sa.Connection, *, press_id: int | None = None, run_id: int | None = None, last: int | None = None
) -> list[str]:
    """List the keys that the shots of a press or of a run have values for, sorted.

    Every shot asked for is looked at (2 s a million), so a page that is drawn often asks for the `last` few.
    """
    where = _conditions(press_id=press_id, run_id=run_id)
    asked = sa.select(shots.c.characteristics).where(*where)
    if last is not None:
        asked = asked.order_by(shots.c.id.desc()).limit(last)
    return shot_values.distinct_keys(conn, asked.subquery("asked"))


def run_of(conn: sa.Connection, shot_id: int) -> int | None:
    """The run of a stored shot, None if it has none."""
    run_id: int | None = conn.execute(sa.select(shots.c.run_id).where(shots.c.id == shot_id)).scalar_one()
    return run_id


def broken_digests(
    conn: sa.Connection, *, press_id: int | None = None, run_id: int | None = None
) -> list[int]:
    """Recompute the digest of each stored shot and list the ids of those that no longer match."""
    where = _conditions(press_id=press_id, run_id=run_id)
    query = sa.select(shots, presses.c.site, presses.c.name).select_from(shots)
    query = query.join(presses, presses.c.id == own_press()).where(*where).order_by(shots.c.id)
    rows = conn.execute(query.execution_options(yield_per=1_000)).mappings()
    return [row["id"] for row in rows if digest.of_row(dict(row)) != row["digest"]]


def _conditions(
    *,
    press_id: int | None = None,
    run_id: int | None = None,
    after_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
    phases: Sequence[str] | None = None,
) -> list[sa.ColumnElement[bool]]:
    c = shots.c
    asked: tuple[tuple[Any, Callable[[Any], sa.ColumnElement[bool]]], ...] = (
        (press_id, c.press_id.__eq__),
        (run_id, c.run_id.__eq__),
        (after_id, c.id.__gt__),
        (since, c.ended_at.__ge__),
        (until, c.ended_at.__lt__),
        (phases, c.phase.in_),
    )
    return [condition(argument) for argument, condition in asked if argument is not None]


def _frame_columns() -> list[sa.ColumnElement[Any]]:
    # A time stays the number it is stored as: a datetime object a row would cost more than the values.
    plain = {"ended_at": sa.type_coerce(shots.c.ended_at, sa.BigInteger).label("ended_at")}
    return [plain.get(name, shots.c[name]) for name in _FRAME]


def _fetch(conn: sa.Connection, query: sa.Select[*tuple[Any, ...]]) -> Sequence[Sequence[Any]]:
    # Rows as the driver gives them: a Row object each would add a fifth to the time of a page.
    result = conn.execute(query)
    assert result.cursor is not None  # a SELECT has one
    rows: Sequence[Sequence[Any]] = result.cursor.fetchall()
    result.close()
    return rows


def _frame(rows: Sequence[Sequence[Any]], wanted: Sequence[str]) -> pd.DataFrame:
    *fixed, texts = zip(*rows, strict=True) if rows else ((),) * (len(_FRAME) + 1)
    series = {
        name: pd.Series(column, dtype=dtype)
        for (name, dtype), column in zip(_FRAME.items(), fixed, strict=True)
    }
    series["ended_at"] = pd.to_datetime(series["ended_at"].astype("datetime64[us]"), utc=True)
    return pd.DataFrame(series | shot_values.columns(texts, wanted))
