"""`evenrun archive`: values of old runs into files, and back."""

from __future__ import annotations

from typing import Annotated

import sqlalchemy as sa
import typer
from rich.progress import track

from collector.cli.moments import day
from collector.cli.terminal import WHO, acting
from collector.errors import UserError
from collector.keeping import archive as archives
from collector.service import service_clock
from collector.settings import load_settings
from collector.settings_keeping import Retention
from collector.store import archives as archived
from collector.store import database
from collector.store.tables import runs


def archive(
    *,
    older_than_days: Annotated[
        float | None, typer.Option(min=7, help="Move runs closed so long; default: retention.values_days.")
    ] = None,
    run: Annotated[str | None, typer.Option(help="Move this closed run, however old it is.")] = None,
    restore: Annotated[str | None, typer.Option(help="Put the values of this run back.")] = None,
    who: Annotated[str, typer.Option(help=WHO)] = "",
    list_runs: Annotated[bool, typer.Option("--list", help="Only list what is in the archive.")] = False,
) -> None:
    """Move the values of closed runs out of the store into one Parquet file each, or back.

    What a shot was, when, and what the charts said of it stays in the store; its values and setpoints move.
    The file is read back and checked before anything leaves the store. A run with an alarm that is not
    closed, or with an open hold, stays. To audit an archived run, put its values back first.
    """
    settings = load_settings()
    engine = database.open_existing(settings.database_url)
    try:
        if restore is not None:
            _restore(engine, settings.retention, restore, acting(engine, who))
        elif not list_runs:
            _move(engine, settings.retention, run, older_than_days, acting(engine, who))
        _list(engine)
    finally:
        engine.dispose()


def _restore(engine: sa.Engine, retention: Retention, name: str, who: str) -> None:
    run_id = _run_id(engine, name)
    count = archives.restore_run(engine, run_id, retention.folder, who=who, clock=service_clock(engine))
    typer.echo(f"Run {name}: {count:,} shots have their values again.")


def _move(engine: sa.Engine, retention: Retention, name: str | None, days: float | None, who: str) -> None:
    clock = service_clock(engine)
    days = days or retention.values_days
    if name is not None:
        chosen = [_run_id(engine, name)]
    elif days is not None:
        with database.read(engine) as conn:
            chosen = archives.due(conn, now=clock.now(), values_days=days)
    else:
        raise UserError("nothing says which runs to move; give --run, --older-than-days or --list")
    for run_id in track(chosen, "Moving runs", disable=not chosen):
        archives.archive_run(engine, run_id, retention.folder, who=who, clock=clock)


def _list(engine: sa.Engine) -> None:
    with database.read(engine) as conn:
        found = archived.listed(conn)
    for each in found:
        state = "" if each.restored_at is None else "  (values are back in the store)"
        what = f"{each.press}  {each.run}  {each.shots:,} shots  {each.file_name}"
        typer.echo(f"{day(each.at)}  {what}{state}")
    if not found:
        typer.echo("No run is in the archive.")


def _run_id(engine: sa.Engine, name: str) -> int:
    with database.read(engine) as conn:
        found = list(conn.execute(sa.select(runs.c.id).where(runs.c.name == name)).scalars())
    if len(found) != 1:
        what = "there is no run" if not found else f"{len(found)} presses have a run"
        raise UserError(f"{what} {name!r}; the run audit page lists the runs by press")
    return int(found[0])
