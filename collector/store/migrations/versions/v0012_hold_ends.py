"""A hold goes by where its shots lie, no longer by the order in which they arrived: none lets go of a disc.

Where the last shot of a hold had come late, the hold would end at that shot's place, before others that it
held. It ends with the one among its shots that was made last.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

_holds = sa.table("holds", *map(sa.column, ("id", "press_id", "from_shot_id", "to_shot_id")))
_shots = sa.table("shots", *map(sa.column, ("id", "press_id", "epoch", "counter", "ended_at")))


def upgrade() -> None:
    """Bring a store here."""
    conn, h, s = op.get_bind(), _holds.c, _shots.c
    ended = sa.select(_holds, s.counter).join(_shots, s.id == h.to_shot_id)
    for hold in conn.execute(ended).all():
        inside = s.id.between(hold.from_shot_id, hold.to_shot_id)
        own = sa.or_(s.press_id == hold.press_id, s.id == hold.to_shot_id)  # it may have been taken back
        by_counter = [] if hold.counter is None else [s.counter.desc().nulls_last()]
        newest_first = (s.epoch.desc(), *by_counter, s.ended_at.desc(), s.id.desc())
        newest = conn.execute(sa.select(s.id).where(inside, own).order_by(*newest_first).limit(1)).scalar()
        if newest is not None and newest != hold.to_shot_id:
            conn.execute(sa.update(_holds).where(h.id == hold.id).values(to_shot_id=newest))
