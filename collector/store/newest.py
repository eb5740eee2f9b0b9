"""The newest shots of a press as arrays: what an alarm is judged by, in the transaction of a batch.

The same values as :func:`collector.store.shots.values` with :func:`collector.store.doubts.without_doubted`
gives. The two data frames of a judgment cost three times as much as reading and decoding their rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.store import doubts, identities, shot_values
from collector.store.tables import shots

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_NEWEST = (
    sa.select(shots.c.id, shot_values.as_text())
    .where(
        shots.c.press_id == sa.bindparam("press_id"),
        # As it stands, SQLite would go by epochs and sort every shot of the press for the newest few.
        shots.c.epoch + 0 >= sa.bindparam("since_epoch"),
        shots.c.phase.in_(sa.bindparam("phases", expanding=True)),
    )
    .order_by(shots.c.id.desc())
    .limit(sa.bindparam("last"))
)


@dataclass(frozen=True, slots=True)
class Newest:
    """Shots in the order in which the charts saw them.

    Attributes
    ----------
    ids : array of shape (n,)
        Rising.
    values : mapping of str to array of shape (n,)
        By key, canonical unit; NaN where a shot has no such value or it is in doubt.
    """

    ids: IntArray
    values: Mapping[str, FloatArray]

    def last(self, count: int) -> Newest:
        """Only the newest so many."""
        start = max(self.ids.size - count, 0)
        return Newest(self.ids[start:], {key: x[start:] for key, x in self.values.items()})


def read(
    conn: sa.Connection, press_id: int, *, keys: Sequence[str], phases: Sequence[str], last: int
) -> Newest:
    """Read the newest shots of a press.

    Parameters
    ----------
    conn : Connection
    press_id : int
    keys : sequence of str
        Characteristics to read; without any, nothing is read.
    phases : sequence of str
        Only shots of these.
    last : int
        How many shots at most.
    """
    rows = _rows(conn, press_id, phases, last) if keys else ()
    ids = np.array([row[0] for row in reversed(rows)], dtype=np.int64)
    values = shot_values.columns([row[1] for row in reversed(rows)], keys)
    if not ids.size:
        return Newest(ids, values)
    doubted = doubts.doubted(conn, press_id, int(ids[0]), int(ids[-1]), keys)
    return Newest(
        ids,
        values | {key: np.where(np.isin(ids, bad), np.nan, values[key]) for key, bad in doubted.items()},
    )


def _rows(conn: sa.Connection, press_id: int, phases: Sequence[str], last: int) -> Sequence[sa.Row[Any]]:
    """Newest first; a run of the past may have come later, but the charts of the press never saw it."""
    since = identities.present(conn, press_id)
    asked = {"press_id": press_id, "phases": phases, "last": last, "since_epoch": since}
    return conn.execute(_NEWEST, asked).all()
