"""`evenrun imports`: the files that were imported; taking one back; naming its run later."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import sqlalchemy as sa
import typer

from collector.actions import imports as act
from collector.cli.moments import minute
from collector.cli.terminal import WHO, acting, because
from collector.errors import UserError
from collector.service import service_clock
from collector.settings import load_settings
from collector.store import database
from collector.store import imports as stored
from collector.store.imports import ImportRow


class What(StrEnum):
    """What to do."""

    LIST = "list"
    UNDO = "undo"
    NAME = "name"


def imports(
    what: Annotated[What, typer.Argument(help="list, undo or name")] = What.LIST,
    number: Annotated[int | None, typer.Argument(help="number of the import, as listed")] = None,
    *,
    run: Annotated[str | None, typer.Option(help="With name: the run that the shots are of.")] = None,
    who: Annotated[str, typer.Option(help=WHO)] = "",
    why: Annotated[str, typer.Option(help="The reason, for the journal.")] = "",
    last: Annotated[int, typer.Option(min=1, help="With list: only the newest so many.")] = 20,
) -> None:
    """List the files that were imported, and put one right that was wrong.

    undo takes an import back: its shots leave the charts and the audit, alarms that rest on them alone are
    closed, and all of it is kept. An import that is still running ends there. The file can then be imported
    again, as it should have been. name brings the shots of an import that named no run into a run. Both need
    --why, and are journaled.
    """
    engine = database.open_existing(load_settings().database_url)
    try:
        if what is What.LIST:
            _list(engine, last)
        elif number is None:
            raise UserError(f"say which import: evenrun imports {what} NUMBER; `evenrun imports` lists them")
        elif what is What.UNDO:
            _undo(engine, number, who, why)
        else:
            _name(engine, number, run or "", who, why)
    finally:
        engine.dispose()


def _list(engine: sa.Engine, last: int) -> None:
    with database.read(engine) as conn:
        rows = stored.listed(conn, last=last)
        lines = [_line(row, running=stored.is_running(conn, row)) for row in rows]
    for line in lines:
        typer.echo(line)
    if not rows:
        typer.echo("No file was imported yet.")


def _line(row: ImportRow, *, running: bool) -> str:
    what = f"{row.accepted} rows stored, {row.duplicates} known before, {row.refused} refused"
    if running:
        what = "is running"
    elif row.last_shot_id is None:
        what = "did not end: import the file again"
    if row.undone_at is not None:
        what += f"; undone {minute(row.undone_at)} by {row.undone_by}: {row.undone_why}"
    return f"{row.id:>4}  {minute(row.imported_at)}  {row.file_name} as {row.profile}: {what}"


def _undo(engine: sa.Engine, number: int, who: str, why: str) -> None:
    why = because(why, "wrong press")
    done = act.undo(engine, number, who=acting(engine, who), why=why, clock=service_clock(engine))
    typer.echo(f"Import {number} is undone: {done.shots} shots and {done.gaugings} gaugings are set aside.")
    if done.runs:
        typer.echo(f"No shot is left in {', '.join(done.runs)}; the name is free again.")
    if done.alarms:
        typer.echo(f"{len(done.alarms)} alarms that rested on these shots alone are closed.")


def _name(engine: sa.Engine, number: int, run: str, who: str, why: str) -> None:
    why, clock = because(why, "forgotten"), service_clock(engine)
    for done in act.name_run(engine, number, run=run, who=acting(engine, who), why=why, clock=clock):
        before = ", ".join(done.names)
        typer.echo(f"{done.shots} shots of import {number} are of run {run}; before: {before}.")
