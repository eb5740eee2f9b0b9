"""The same shot again, with other values: the new ones count, the old ones stay readable."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.contract import quantities
from collector.contract.shot import Shot
from collector.store import digest
from collector.store.tables import amendments, presses, shots

FEWEST_SHARED = 2  # of a single value nobody can say whether it was corrected or is another


def amend(conn: sa.Connection, shot_id: int, shot: Shot, *, at: datetime) -> bool:
    """Compare a repeated shot with the stored one and keep what differs.

    A second source (a file after the broker) may round and may leave keys out: a difference within half of
    the last decimal shown is none, and a key that is absent stays as it was.

    Parameters
    ----------
    conn : Connection
        A writing transaction.
    shot_id : int
        The stored shot.
    shot : Shot
        What came again.
    at : datetime
        Service time of the amendment.

    Returns
    -------
    bool
        Whether anything changed.
    """
    query = sa.select(shots, presses.c.site, presses.c.name).join(presses).where(shots.c.id == shot_id)
    row = {str(name): value for name, value in conn.execute(query).mappings().one().items()}
    values = _changes(row["characteristics"], shot.values)
    setpoints = _changes(row["setpoints"] or {}, shot.setpoints)
    if not values and not setpoints:
        return False
    after = _merged(row, shot, values, setpoints)
    before = {name: row[name] for name in after}
    conn.execute(
        sa.insert(amendments).values(shot_id=shot_id, at=at, before=before, after=after, source=shot.source)
    )
    conn.execute(
        sa.update(shots).where(shots.c.id == shot_id).values(**after, digest=digest.of_row({**row, **after}))
    )
    return True


def says_nothing_new(values: Mapping[str, float], setpoints: Mapping[str, float], shot: Shot) -> bool:
    """Whether a repeated shot agrees with these stored values in all that it says."""
    return not _changes(values, shot.values) and not _changes(setpoints, shot.setpoints)


def is_another(conn: sa.Connection, shot_id: int, shot: Shot) -> bool:
    """Whether a shot without a counter only has the time of a stored one of the same source.

    After a clock was set back, times come again. Two readings of one cycle agree in most values; two cycles
    agree in few.
    """
    query = sa.select(shots.c.source, shots.c.characteristics).where(shots.c.id == shot_id)
    stored = conn.execute(query).one()
    shared = {key: value for key, value in shot.values.items() if key in stored.characteristics}
    if stored.source != shot.source or len(shared) < FEWEST_SHARED:
        return False
    return 2 * len(_changes(stored.characteristics, shared)) > len(shared)


def _changes(stored: Mapping[str, float], sent: Mapping[str, float]) -> dict[str, float]:
    return {
        key: value
        for key, value in sent.items()
        if key not in stored or abs(value - stored[key]) > _rounding(key, stored[key])
    }


def _rounding(key: str, value: float) -> float:
    quantity = quantities.find(key)
    if quantity is None:
        return 1e-6 * abs(value)
    return 0.5 * 10.0**-quantity.decimals


def _merged(
    row: Mapping[str, Any], shot: Shot, values: Mapping[str, float], setpoints: Mapping[str, float]
) -> dict[str, Any]:
    """The columns after the amendment; an original that no longer belongs to its value goes."""
    return {
        "characteristics": {**row["characteristics"], **values},
        "originals": _originals(row["originals"], shot.originals, values),
        "setpoints": {**(row["setpoints"] or {}), **setpoints},
        "setpoint_originals": _originals(row["setpoint_originals"], shot.setpoint_originals, setpoints),
        "not_written": [key for key in row["not_written"] or [] if key not in values],
    }


def _originals(stored: Any, sent: Mapping[str, Any], changed: Mapping[str, float]) -> dict[str, Any]:
    kept = {key: list(pair) for key, pair in (stored or {}).items() if key not in changed}
    return {**kept, **{key: list(sent[key]) for key in changed if key in sent}}
