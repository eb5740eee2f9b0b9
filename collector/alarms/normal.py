"""What to say of a shot that signals nothing: inside normal variation, leave it alone.

Changing a setting after a value that is inside normal variation adds variation (tampering).

References
----------
W. E. Deming, Out of the Crisis (1986), chapter 11 (the funnel); from memory.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from collector.contract import quantities
from collector.contract.figures import percent
from collector.store import places
from collector.store.tables import alarms, holds, shots, signals

LEAVE_ALONE = "Inside normal variation: no chart passed its limit at this shot. Leave the settings alone."
NOT_JUDGED = {
    "startup": "Not judged: the press was starting up.",
    "trial": "Not judged: a trial.",
    "baseline": "Not judged yet: it was gathered for limits.",
}
ON_HOLD = "No chart passed its limit at this shot, but it lies in a hold of alarm {alarm}: {headline}."


def sentence(conn: sa.Connection, shot_id: int) -> str | None:
    """What to say of one shot.

    Parameters
    ----------
    conn : Connection
    shot_id : int

    Returns
    -------
    str or None
        None where the shot signals something, or is not stored: then there is more to say than this.
    """
    row = conn.execute(
        sa.select(shots.c.press_id, shots.c.phase, shots.c.share, shots.c.share_key).where(
            shots.c.id == shot_id
        )
    ).first()
    if row is None or _signals(conn, shot_id):
        return None
    if row.phase in NOT_JUDGED:
        return NOT_JUDGED[row.phase]
    held = _held(conn, row.press_id, shot_id)
    if held is not None:
        return ON_HOLD.format(alarm=held.id, headline=held.headline[:1].lower() + held.headline[1:])
    return f"{LEAVE_ALONE}{_nearest(row.share, row.share_key)}"


def _nearest(share: float | None, key: str | None) -> str:
    if share is None or key is None:
        return ""
    return f" The nearest was {quantities.label(key).lower()}, at {percent(share)} of its limit."


def _signals(conn: sa.Connection, shot_id: int) -> bool:
    c = signals.c
    return conn.execute(
        sa.select(c.id).where(c.shot_id == shot_id, c.withdrawn.is_(False)).limit(1)
    ).first() is not None


def _held(conn: sa.Connection, press_id: int, shot_id: int) -> sa.Row[*tuple[Any, ...]] | None:
    """The newest alarm with an open hold in which the shot lies."""
    c, first, last = holds.c, shots.alias("first"), shots.alias("last")
    query = (
        sa.select(alarms.c.id, alarms.c.headline)
        .join(holds, c.alarm_id == alarms.c.id)
        .join(shots, shots.c.id == shot_id)
        .join(first, first.c.id == c.from_shot_id)
        .outerjoin(last, last.c.id == c.to_shot_id)
        .where(c.press_id == press_id, c.state == "open", places.between(shots, first, last))
        .order_by(alarms.c.id.desc())
    )
    return conn.execute(query.limit(1)).first()
