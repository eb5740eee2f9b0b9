"""Shots of imports that were undone: of which press they were."""

from __future__ import annotations

import sqlalchemy as sa

from collector.store.tables import shots, withdrawn_shots

SITE = "(withdrawn)"  # of the presses that they are set aside on; no topic can name it


def own_press() -> sa.ColumnElement[int]:
    """The press that made a shot, also of one that was set aside since; its digest names that press."""
    before = sa.select(withdrawn_shots.c.press_id).where(withdrawn_shots.c.shot_id == shots.c.id)
    return sa.func.coalesce(before.correlate(shots).scalar_subquery(), shots.c.press_id)
