"""Values that the data checks doubted: stored and shown like any other, but no part of what the press did."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import sqlalchemy as sa

from collector.store.tables import shots, signals

DATA = "data"


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
    found = _doubted(conn, press_id, int(frame["id"].min()), int(frame["id"].max()), keys)
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


def _doubted(
    conn: sa.Connection, press_id: int, first: int, last: int, keys: Sequence[str]
) -> dict[str, list[int]]:
    c = signals.c
    query = sa.select(c.key, c.shot_id).where(
        c.press_id == press_id, c.shot_id.between(first, last), c.kind == DATA, c.withdrawn.is_(False)
    )
    found: dict[str, list[int]] = {}
    for key, shot_id in conn.execute(query):
        if key in keys:
            found.setdefault(key, []).append(shot_id)
    return found
