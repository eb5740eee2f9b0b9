"""The command `evenrun audit`: one run as one HTML file, and as JSON."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import sqlalchemy as sa
import typer

from collector.clock import real_clock
from collector.errors import UserError
from collector.settings import load_settings
from collector.store import clock as stored_clock
from collector.store import database
from collector.store.database_url import HOW_TO_CHOOSE, shown
from dashboard.audit import find, render
from dashboard.audit.audit import Audit
from dashboard.audit.audit import audit as worked_out
from dashboard.audit.collect import collect


def audit(  # noqa: PLR0917 - the options of a command
    run: Annotated[str | None, typer.Argument(help="Name of the run.", show_default=False)] = None,
    press: Annotated[str | None, typer.Option(help="Press, where runs of several are called alike.")] = None,
    tray: Annotated[str | None, typer.Option(help="Find the run by a tray of its discs instead.")] = None,
    mark: Annotated[str | None, typer.Option(help="Find it by the mark of a gauged disc.")] = None,
    date: Annotated[str | None, typer.Option(help="Find it by a day, such as 2026-11-03.")] = None,
    out: Annotated[Path | None, typer.Option(help="HTML file; default: audit-RUN.html here.")] = None,
    json: Annotated[Path | None, typer.Option(help="Also write every figure to this JSON file.")] = None,
    leave_out: Annotated[
        list[str] | None, typer.Option(help="A run with a complaint of its own; not used for comparison.")
    ] = None,
    taken_at: Annotated[
        str | None, typer.Option(help="Floor time to print as that of the evidence; default: now.")
    ] = None,
) -> None:
    """Write the audit of one run: what changed, when it shifted, which discs that touched, what is not known.

    The HTML file holds everything it shows and prints on A4. With the same --taken-at the same store gives
    the same bytes.
    """
    settings = load_settings()
    engine = database.open_existing(settings.database_url)
    zone = ZoneInfo(settings.time_zone)
    with database.read(engine) as conn:
        try:
            for name in leave_out or ():
                find.check_named(conn, name)
            run_id = _run_id(conn, run=run, tray=tray, mark=mark, day=date, zone=zone, press=press)
        except find.NoRun as error:
            store = shown(settings.database_url)
            raise UserError(f"{error}; this was read in {store}, {HOW_TO_CHOOSE}") from error
        moment = _taken_at(conn, taken_at)
        evidence = collect(conn, run_id, settings=settings, taken_at=moment, left_out=leave_out or ())
    engine.dispose()
    _write(worked_out(evidence, zone), out, json)


def _run_id(
    conn: sa.Connection,
    *,
    run: str | None,
    tray: str | None,
    mark: str | None,
    day: str | None,
    zone: ZoneInfo,
    press: str | None,
) -> int:
    """The one run that the words on the command line fit."""
    if sum(each is not None for each in (run, tray, mark, day)) != 1:
        raise UserError("say which run to audit in one way: its name, or --tray, --mark or --date")
    if run is not None:
        return find.by_name(conn, run, press=press)
    if tray is not None:
        return find.by_tray(conn, tray, press=press)
    if mark is not None:
        return find.by_mark(conn, mark, press=press)
    assert day is not None  # one of the four is given
    return find.by_date(conn, _day(day), zone=zone, press=press)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UserError(f"--date {text!r} is no day; write it as 2026-11-03") from error


def _taken_at(conn: sa.Connection, text: str | None) -> datetime:
    if text is None:
        return (stored_clock.load(conn) or real_clock()).now()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise UserError(f"--taken-at {text!r} is no time; write it as 2026-11-07T12:00Z") from error
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _write(made: Audit, out: Path | None, json: Path | None) -> None:
    page = out or Path(f"audit-{_as_file_name(made.evidence.run.name)}.html")
    _save(page, render.html(made))
    typer.echo(made.conclusion.headline)
    typer.echo(f"written: {page}")
    if json is not None:
        _save(json, made.to_json())
        typer.echo(f"written: {json}")


def _as_file_name(name: str) -> str:
    return "".join(letter if letter.isalnum() or letter in "-_." else "-" for letter in name)


def _save(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}); choose another path") from error
