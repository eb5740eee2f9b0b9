"""`evenrun recipe`: qualify a version of a recipe out of a file, and list those there are."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import sqlalchemy as sa
import typer

from collector.actions.recipes import qualify
from collector.cli.moments import day
from collector.cli.terminal import WHO, acting, because
from collector.contract import quantities
from collector.errors import UserError
from collector.recipe_file import read_recipe
from collector.service import service_clock
from collector.settings import load_settings
from collector.store import database, recipes
from collector.store.recipes import RecipeRow


class What(StrEnum):
    """What to do."""

    LIST = "list"
    QUALIFY = "qualify"


def recipe(
    what: Annotated[What, typer.Argument(help="list or qualify")] = What.LIST,
    file: Annotated[Path | None, typer.Argument(help="With qualify: TOML file of the recipe.")] = None,
    *,
    who: Annotated[str, typer.Option(help=WHO)] = "",
    why: Annotated[str, typer.Option(help="With qualify: the reason, for the journal.")] = "",
) -> None:
    """List recipes, or qualify one: every shot of a run under it is then held against its setpoints.

    The file gives name and version, mold and blend if they are of the recipe, and a table for each setpoint:
    [setpoints.cooling_time] with setpoint, allowed (the largest deviation that is no signal) and unit, where
    that is not the canonical one. A version that is qualified stays as it is; a changed recipe is a new one.
    """
    engine = database.open_existing(load_settings().database_url)
    try:
        if what is What.LIST:
            _list(engine)
        elif file is None:
            raise UserError("say which file: evenrun recipe qualify FILE")
        else:
            _qualify(engine, file, who, why)
    finally:
        engine.dispose()


def _qualify(engine: sa.Engine, file: Path, who: str, why: str) -> None:
    given, why = read_recipe(file), because(why, "first run approved")
    qualify(
        engine, given.name, given.version, mold=given.mold, blend=given.blend, setpoints=given.allowed(),
        who=acting(engine, who), why=why, clock=service_clock(engine),
    )
    typer.echo(f"Recipe {given.name} version {given.version} is qualified, {len(given.setpoints)} setpoints.")


def _list(engine: sa.Engine) -> None:
    with database.read(engine) as conn:
        found = recipes.listed(conn)
    for row in found:
        typer.echo(_line(row))
        for key, allowed in row.setpoints.items():
            asked = quantities.format_value(key, allowed["setpoint"])
            typer.echo(f"      {quantities.label(key)}: {asked}, {allowed['allowed']:g} either way")
    if not found:
        typer.echo("No recipe was named or qualified yet.")


def _line(row: RecipeRow) -> str:
    of = ", ".join(part for part in (row.mold, row.blend) if part) or "any mold and blend"
    if row.qualified_at is None:
        return f"{row.name} version {row.version}, {of}: named by a run, not qualified"
    by = f"qualified {day(row.qualified_at)} by {row.qualified_by}"
    return f"{row.name} version {row.version}, {of}: {by}"
