"""Qualify a recipe: every shot of a run that begins from then on is compared with it."""

from __future__ import annotations

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.store import database, journal, recipes
from collector.store.recipes import Allowed


def qualify(
    engine: sa.Engine,
    name: str,
    version: int,
    *,
    mold: str | None,
    blend: str | None,
    setpoints: Allowed,
    who: str,
    clock: ServiceClock,
) -> int:
    """Qualify one version of a recipe.

    Parameters
    ----------
    setpoints : mapping
        ``{"cooling_time": {"setpoint": 36.0, "allowed": 0.5}}``, canonical units; `allowed` is the largest
        deviation, either way, that is not a signal.

    Returns
    -------
    int
        Id of the recipe.

    Raises
    ------
    NotAllowed
        That version is qualified already.
    """
    with database.write(engine) as conn:
        try:
            recipe_id = recipes.qualify(
                conn, name, version, mold=mold, blend=blend, setpoints=setpoints, who=who, at=clock.now()
            )
        except ValueError as error:
            raise NotAllowed(str(error)) from error
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="qualify recipe",
            subject=f"recipe {name} version {version}",
            after={key: dict(allowed) for key, allowed in setpoints.items()},
        )
    return recipe_id
