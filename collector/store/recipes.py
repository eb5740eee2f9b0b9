"""Recipes: named, versioned sets of setpoints with the allowed deviation of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.store.tables import recipes

Allowed = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeRow:
    """One version of a recipe; one that is not qualified was only named by a run."""

    name: str
    version: int
    mold: str | None
    blend: str | None
    qualified_by: str | None
    qualified_at: datetime | None
    setpoints: Allowed


def listed(conn: sa.Connection) -> list[RecipeRow]:
    """Every version of every recipe, by name."""
    columns = [recipes.c[name] for name in RecipeRow.__slots__]
    query = sa.select(*columns).order_by(recipes.c.name, recipes.c.version)
    return [RecipeRow(**row) for row in conn.execute(query).mappings()]


def newest_version(conn: sa.Connection, name: str) -> int:
    """The highest version of a recipe that is qualified, 0 when none is."""
    c = recipes.c
    newest = sa.select(sa.func.max(c.version)).where(c.name == name, c.qualified_at.is_not(None))
    return conn.execute(newest).scalar() or 0


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
