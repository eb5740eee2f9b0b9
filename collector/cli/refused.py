"""`evenrun refused`: what could not be read, and taking it again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import sqlalchemy as sa
import typer

from collector.actions import refusals as act
from collector.cli.moments import second
from collector.cli.terminal import WHO, acting, because
from collector.errors import UserError
from collector.pipeline import Pipeline, engine_policy, intake_policy
from collector.refusal_export import export_refused
from collector.replaying import Replayed, replay_refused
from collector.service import service_clock
from collector.settings import load_settings
from collector.store import database, refusals


def refused(
    *,
    last: Annotated[int, typer.Option(min=1, help="Only the newest so many.")] = 20,
    source: Annotated[
        str | None, typer.Option(help="Only from this source: mqtt, or the name of a file.")
    ] = None,
    replay: Annotated[
        bool, typer.Option("--replay", help="Take the kept messages again, all unless --source narrows it.")
    ] = False,
    export: Annotated[
        Path | None, typer.Option(help="Write them all to a new file instead: .csv or .jsonl.")
    ] = None,
    put_aside: Annotated[
        str | None,
        typer.Option(help="Have some wait no more: numbers as listed, with commas, or all of a --source."),
    ] = None,
    who: Annotated[str, typer.Option(help=WHO)] = "",
    why: Annotated[str, typer.Option(help="With --put-aside: the reason, for the journal.")] = "",
) -> None:
    """List messages and rows that could not be read, newest last, each with its reason and remedy.

    After a setting was mended, --replay takes the kept messages through the charts again; those that read
    now leave this list. Rows of a file are taken again by importing the file again: a row leaves the list
    when its line of the same file is read, as it was or with its cells of counter, tray and time unchanged.
    Messages of Sparkplug edge nodes cannot be: alone, they say only what had changed. --export writes all
    that wait to a file, for whoever mends the sender. --put-aside takes off the list what nobody can read; it
    stays in the store, and the journal says who and why.
    """
    settings = load_settings()
    engine = database.open_existing(settings.database_url)
    try:
        if export is not None:
            count = export_refused(engine, export, source=source, state="kept")
            typer.echo(f"{export}: {count} that could not be read")
            return
        if put_aside is not None:
            _put_aside(engine, put_aside, source, who, why)
            return
        if replay:
            pipeline = Pipeline(
                engine, policy=engine_policy(settings), intake=intake_policy(settings),
                clock=service_clock(engine),
            )
            _say(replay_refused(engine, pipeline, source=source))
        with database.read(engine) as conn:
            rows = refusals.kept(conn, source=source, last=last)
    finally:
        engine.dispose()
    for row in rows:
        typer.echo(_entry(row))
    if not rows:
        typer.echo("Nothing that was refused waits.")
    elif any(row.topic is None for row in rows):
        typer.echo(
            "Rows of files are taken again by `evenrun import` of the file, with it or its profile mended; "
            "what nobody can read is taken off this list with --put-aside."
        )


def _put_aside(engine: sa.Engine, which: str, source: str | None, who: str, why: str) -> None:
    numbers = None if which == "all" else _numbers(which)
    if numbers is None and source is None:
        raise UserError("say of which source with --source, or give numbers; `evenrun refused` lists them")
    why = because(why, "totals that nobody needs")
    count = act.put_aside(
        engine, numbers=numbers, source=source, who=acting(engine, who), why=why, clock=service_clock(engine)
    )
    typer.echo(f"{count} put aside; kept in the store, and no longer listed.")


def _numbers(text: str) -> list[int]:
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isdecimal() for part in parts):
        raise UserError(f"--put-aside {text} names none; give numbers as listed, such as 12,13, or all")
    return [int(part) for part in parts]


def _entry(row: sa.Row[*tuple[Any, ...]]) -> str:
    return (
        f"{row.id:>4}  {second(row.received_at)}  {row.source}  {row.position}  {row.reason}\n"
        f"  {row.detail}; {row.remedy}."
    )


def _say(done: Replayed) -> None:
    typer.echo(f"Replayed: {done.taken} read now, {done.still_refused} still do not.")
    if done.rows_of_files:
        typer.echo(f"Left alone: {done.rows_of_files} from files; import the file again.")
    if done.of_edge_nodes:
        typer.echo(
            f"Left alone: {done.of_edge_nodes} of edge nodes, which say only what had changed since messages "
            "that are gone; with [[sparkplug]] mended, the next shots read."
        )
