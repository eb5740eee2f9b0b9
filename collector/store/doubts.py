"""Values that the data checks doubted: stored and shown like any other, but no part of what the press did."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd
import sqlalchemy as sa

from collector.store.tables import shots, signals

DATA = "data"

_c = signals.c
_IN_DOUBT = sa.select(_c.key, _c.shot_id).where(
    _c.press_id == sa.bindparam("press_id"),
    _c.shot_id.between(sa.bindparam("first"), sa.bindparam("last")),
    _c.kind == DATA,
    _c.withdrawn.is_(False),
)


def without_doubted(
    conn: sa.Connection, frame: pd.DataFrame, keys: Sequence[str], *, press_id: int
) -> pd.DataFrame:
    """Values of shots with NaN where a value was in doubt.

    Parameters
    ----------
    conn : Connection
    frame : DataFrame
        As :func:`collector.store.shots.values` gives it, of one press: a column `id` and one a key.
    keys : sequence of str
    press_id : int

    Returns
    -------
    DataFrame
        The same one where nothing is in doubt.
    """
    if frame.empty:
        return frame
    found = doubted(conn, press_id, int(frame["id"].min()), int(frame["id"].max()), keys)
    if not found:
        return frame
    frame = frame.copy()
    for key, shot_ids in found.items():
        frame.loc[frame["id"].isin(shot_ids), key] = np.nan
    return frame


def of_run(conn: sa.Connection, frame: pd.DataFrame, keys: Sequence[str], *, run_id: int) -> pd.DataFrame:
    """The same for the shots of a run."""
    press_id = conn.execute(sa.select(shots.c.press_id).where(shots.c.run_id == run_id).limit(1)).scalar()
    return frame if press_id is None else without_doubted(conn, frame, keys, press_id=press_id)


def doubted(
    conn: sa.Connection, press_id: int, first: int, last: int, keys: Collection[str]
) -> dict[str, list[int]]:
    """By key, the shots of a press from one id to another at which its value was in doubt."""
    found: dict[str, list[int]] = {}
    between = {"press_id": press_id, "first": first, "last": last}
    for key, shot_id in conn.execute(_IN_DOUBT, between):
        if key in keys:
            found.setdefault(key, []).append(shot_id)
    return found
