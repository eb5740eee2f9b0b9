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
    why: str,
    clock: ServiceClock,
) -> int:
    """Qualify one version of a recipe.

    Parameters
    ----------
    setpoints : mapping
        ``{"cooling_time": {"setpoint": 36.0, "allowed": 0.5}}``, canonical units; `allowed` is the largest
        deviation, either way, that is not a signal.
    who, why : str
        Who stands for it, and the reason.

    Returns
    -------
    int
        Id of the recipe.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, there is no setpoint, or that version is qualified already.
    """
    if not who.strip():
        raise NotAllowed("say who stands for the recipe: choose a name")
    if not why.strip():
        raise NotAllowed("give the reason in a few words, such as first run approved")
    if not setpoints:
        raise NotAllowed("a recipe needs a setpoint to hold shots against")
    with database.write(engine) as conn:
        try:
            recipe_id = recipes.qualify(
                conn, name, version, mold=mold, blend=blend, setpoints=setpoints, who=str(who),
                at=clock.now(),
            )
        except ValueError as error:
            raise NotAllowed(str(error)) from error
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="qualify recipe",
            subject=f"recipe {name} version {version}",
            after={key: dict(allowed) for key, allowed in setpoints.items()}, why=why.strip(),
        )
    return recipe_id
