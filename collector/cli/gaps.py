"""`evenrun gaps`: counters that a press skipped and that never arrived."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from collector.actions import gaps as act
from collector.cli.moments import second
from collector.cli.terminal import WHO, acting, because
from collector.errors import UserError
from collector.service import service_clock
from collector.settings import load_settings
from collector.store import database
from collector.store import gaps as stored
from collector.store.gaps import Gap


class What(StrEnum):
    """What to do."""

    LIST = "list"
    CLOSE = "close"


def gaps(
    what: Annotated[What, typer.Argument(help="list or close")] = What.LIST,
    number: Annotated[int | None, typer.Argument(help="number of the gap, as listed")] = None,
    *,
    press: Annotated[str | None, typer.Option(help="With list: only of this press.")] = None,
    closed: Annotated[bool, typer.Option("--all", help="With list: those that are closed, too.")] = False,
    who: Annotated[str, typer.Option(help=WHO)] = "",
    why: Annotated[str, typer.Option(help="With close: why nothing will fill it, for the journal.")] = "",
) -> None:
    """List the shots that a press counted and that never arrived.

    A gap closes by itself when its shots arrive late, from the broker or out of a file of the press. close
    ends one that nothing will fill, such as of dry cycles that made no disc.
    """
    engine = database.open_existing(load_settings().database_url)
    try:
        if what is What.CLOSE:
            if number is None:
                raise UserError("say which gap: evenrun gaps close NUMBER; `evenrun gaps` lists them")
            why, clock = because(why, "dry cycles"), service_clock(engine)
            act.close(engine, number, who=acting(engine, who), why=why, clock=clock)
            typer.echo(f"Gap {number} is closed.")
            return
        with database.read(engine) as conn:
            found = stored.listed(conn, press=press, closed=closed)
    finally:
        engine.dispose()
    for gap in found:
        typer.echo(line(gap))
    if not found:
        typer.echo("No counter is missing.")


def line(gap: Gap) -> str:
    """One gap in words."""
    first, last = gap.after_counter + 1, gap.before_counter - 1
    which = f"shot {first}" if first == last else f"shots {first} to {last}"
    state = f"{gap.missing} missing" if gap.missing else "all came late"
    if gap.closed_by is not None:
        state += f", closed by {gap.closed_by}: {gap.why}"
    return f"{gap.id:>4}  {gap.press}  {which}, noticed at {second(gap.at)}: {state}"
