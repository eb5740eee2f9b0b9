"""Recipes: named, versioned sets of setpoints with the allowed deviation of each."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import recipes

Allowed = Mapping[str, Mapping[str, float]]


def qualify(
    conn: sa.Connection,
    name: str,
    version: int,
    *,
    mold: str | None,
    blend: str | None,
    setpoints: Allowed,
    who: str,
    at: datetime,
) -> int:
    """Store a recipe version, or fill in one that runs named before anyone qualified it.

    Returns
    -------
    int
        Its id.

    Raises
    ------
    ValueError
        The version is qualified already: a changed recipe is a new version.
    """
    c = recipes.c
    found = conn.execute(
        sa.select(c.id, c.qualified_at).where(c.name == name, c.version == version)
    ).one_or_none()
    row = {
        "name": name, "version": version, "mold": mold, "blend": blend, "qualified_by": who,
        "qualified_at": at, "setpoints": {key: dict(allowed) for key, allowed in setpoints.items()},
    }
    if found is None:
        return int(conn.execute(sa.insert(recipes).values(**row).returning(c.id)).scalar_one())
    if found.qualified_at is not None:
        raise ValueError(f"recipe {name} version {version} is qualified already; give a new version")
    conn.execute(sa.update(recipes).where(c.id == found.id).values(**row))
    return int(found.id)
