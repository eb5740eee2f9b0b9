"""Runs and recipes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.contract.messages import RunMessage
from collector.store.tables import recipes, runs, shots

# How a run came to be: by a message, by a person's form, by a file that names it, or from the shots alone.
MESSAGE, FORM, FILE, INFERRED = "message", "form", "file", "inferred"
DESCRIPTION = ("mold", "blend", "lot", "color", "recipe", "recipe_version", "trial")
FILLABLE = ("mold", "blend", "lot", "color", "trial")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """A run with what its limits depend on."""

    id: int
    name: str
    mold: str | None
    blend: str | None
    lot: str | None
    color: str | None
    recipe: str | None
    recipe_version: int | None
    setpoints: Mapping[str, Mapping[str, float]]
    opened_by: str
    opened_at: datetime
    closed_at: datetime | None
    trial: bool = False

    def context(self) -> str:
        """What limits are valid for: mold, blend, color and recipe version; a lot is an event inside it."""
        recipe = f"{self.recipe} v{self.recipe_version}" if self.recipe else "-"
        return "|".join((self.mold or "-", self.blend or "-", self.color or "-", recipe))


def _select() -> sa.Select[Any]:
    columns = (
        runs.c.id, runs.c.name, runs.c.mold, runs.c.blend, runs.c.lot, runs.c.color, runs.c.closed_at,
        runs.c.opened_by, runs.c.opened_at, recipes.c.name.label("recipe"), recipes.c.version,
        recipes.c.setpoints, runs.c.trial,
    )
    return sa.select(*columns).select_from(runs.outerjoin(recipes))


_BY_ID = _select().where(runs.c.id == sa.bindparam("run_id"))  # asked for with every batch


def _row(found: sa.Row[Any]) -> RunRow:
    return RunRow(
        id=found.id, name=found.name, mold=found.mold, blend=found.blend, lot=found.lot, color=found.color,
        recipe=found.recipe, recipe_version=found.version, setpoints=found.setpoints or {},
        opened_by=found.opened_by, opened_at=found.opened_at, closed_at=found.closed_at,
        trial=bool(found.trial),
    )


def by_id(conn: sa.Connection, run_id: int) -> RunRow:
    """The run with this id."""
    return _row(conn.execute(_BY_ID, {"run_id": run_id}).one())


def by_name(conn: sa.Connection, press_id: int, name: str) -> RunRow | None:
    """The run of this name on this press, None if there is none yet."""
    found = conn.execute(_select().where(runs.c.press_id == press_id, runs.c.name == name)).one_or_none()
    return None if found is None else _row(found)


def open_run(
    conn: sa.Connection,
    press_id: int,
    name: str,
    *,
    at: datetime,
    opened_by: str,
    mold: str | None = None,
    blend: str | None = None,
    lot: str | None = None,
    color: str | None = None,
    recipe: str | None = None,
    recipe_version: int | None = None,
    trial: bool = False,
    closed_at: datetime | None = None,
) -> RunRow:
    """Store a new run; a recipe that nobody qualified yet is kept by name, without setpoints to check."""
    run_id = conn.execute(
        sa.insert(runs)
        .values(
            press_id=press_id, name=name, mold=mold, blend=blend, lot=lot, color=color, opened_at=at,
            closed_at=closed_at, opened_by=opened_by, trial=trial,
            recipe_id=_recipe_id(conn, recipe, recipe_version or 1, mold, blend),
        )
        .returning(runs.c.id)
    ).scalar_one()
    return by_id(conn, run_id)


def _recipe_id(
    conn: sa.Connection, name: str | None, version: int, mold: str | None, blend: str | None
) -> int | None:
    if name is None:
        return None
    wanted = sa.select(recipes.c.id).where(recipes.c.name == name, recipes.c.version == version)
    found: int | None = conn.execute(wanted).scalar_one_or_none()
    if found is None:
        row = {"name": name, "version": version, "mold": mold, "blend": blend, "setpoints": {}}
        found = conn.execute(sa.insert(recipes).values(**row).returning(recipes.c.id)).scalar_one()
    return found


def recipe_id(conn: sa.Connection, name: str, version: int | None, run: RunRow) -> int | None:
    """The row of the recipe that a run is told of later; version 1 where none is given."""
    return _recipe_id(conn, name, version or 1, run.mold, run.blend)


def describe(conn: sa.Connection, run_id: int, **changes: Any) -> None:
    """Fill in what a later message says of a run."""
    conn.execute(sa.update(runs).where(runs.c.id == run_id).values(**changes))


def close_run(conn: sa.Connection, run_id: int, *, at: datetime) -> None:
    """Close a run; closing it again changes nothing."""
    conn.execute(sa.update(runs).where(runs.c.id == run_id, runs.c.closed_at.is_(None)).values(closed_at=at))


def reopen(conn: sa.Connection, run_id: int) -> None:
    """Let a run that was closed go on."""
    conn.execute(sa.update(runs).where(runs.c.id == run_id).values(closed_at=None))


def extend(conn: sa.Connection, run_id: int, *, to: datetime) -> None:
    """Move the end of a closed run to its newest shot."""
    c = runs.c
    conn.execute(sa.update(runs).where(c.id == run_id, c.closed_at < to).values(closed_at=to))


def reach_back(conn: sa.Connection, run_id: int, *, to: datetime) -> None:
    """Move the beginning of a run that began with its first known shot to one that was made earlier.

    Where the floor said when a run began, that stays.
    """
    own = (runs.c.id == run_id, runs.c.opened_at > to, runs.c.opened_by.in_((FILE, INFERRED)))
    conn.execute(sa.update(runs).where(*own).values(opened_at=to))


def end_with_newest(conn: sa.Connection, run_id: int) -> None:
    """Move the end of a closed run that files opened to the newest shot it has left."""
    c = runs.c
    newest = sa.select(sa.func.max(shots.c.ended_at, type_=c.closed_at.type)).where(shots.c.run_id == run_id)
    own = sa.update(runs).where(c.id == run_id, c.closed_at.is_not(None), c.opened_by == FILE)
    conn.execute(own.values(closed_at=newest.scalar_subquery()))


def newest_first() -> tuple[sa.ColumnElement[Any], ...]:
    """Order in which a press's open run comes first, which may have begun before one that ended."""
    return runs.c.closed_at.is_not(None), runs.c.opened_at.desc(), runs.c.id.desc()


def covering(conn: sa.Connection, press_id: int, at: datetime, *, other_than: int | None = None) -> bool:
    """Whether a run of a press, other than this one, was going on at a time."""
    c = runs.c
    query = sa.select(c.id).where(
        c.press_id == press_id, c.opened_at <= at, sa.or_(c.closed_at.is_(None), c.closed_at >= at)
    )
    if other_than is not None:
        query = query.where(c.id != other_than)
    return conn.execute(query.limit(1)).first() is not None


def described(message: RunMessage) -> dict[str, Any]:
    """What a message says of its run."""
    return {name: getattr(message, name) for name in DESCRIPTION}


def fill_in(conn: sa.Connection, run: RunRow, message: RunMessage) -> bool:
    """Fill in what was not known of a run; whether there was anything."""
    missing = {
        name: getattr(message, name)
        for name in FILLABLE
        if getattr(message, name) and not getattr(run, name)
    }
    if run.recipe is None and message.recipe is not None:
        missing["recipe_id"] = recipe_id(conn, message.recipe, message.recipe_version, run)
    if missing:
        describe(conn, run.id, **missing)
    return bool(missing)


def rename(conn: sa.Connection, run_id: int, name: str, *, opened_by: str) -> None:
    """Give a run that was inferred the name that it should have had."""
    describe(conn, run_id, name=name, opened_by=opened_by)
