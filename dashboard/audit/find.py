"""Which run is meant: by its name, by a tray, by a disc's mark, or by a date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from collector.errors import UserError
from collector.store.tables import gaugings, presses, runs, shots


class NoRun(UserError):
    """The store holds no such run; another store may."""


def by_name(conn: sa.Connection, name: str, *, press: str | None = None) -> int:
    """The run of this name.

    Raises
    ------
    UserError
        No run, or runs on several presses, are called so.
    """
    query = _runs(press).where(runs.c.name == name)
    return _only(conn.execute(query).all(), f"run {name}", press)


def check_named(conn: sa.Connection, name: str) -> None:
    """Refuse a name that no run has, which would silently leave out nothing.

    Raises
    ------
    UserError
        No run is called so.
    """
    if conn.execute(sa.select(runs.c.id).where(runs.c.name == name).limit(1)).first() is None:
        raise NoRun(f"there is no run {name} to leave out")


def by_tray(conn: sa.Connection, tray: str, *, press: str | None = None) -> int:
    """The run whose discs lie in this tray.

    Raises
    ------
    UserError
        No disc, or discs of several runs, went into such a tray.
    """
    inside = sa.select(shots.c.run_id).where(shots.c.tray == tray).distinct()
    query = _runs(press).where(runs.c.id.in_(inside))
    return _only(conn.execute(query).all(), f"tray {tray}", press)


def by_mark(conn: sa.Connection, mark: str, *, press: str | None = None) -> int:
    """The run of the disc that carries this mark, as a gauging named it.

    Raises
    ------
    UserError
        No gauging that found its run, or several, name this mark.
    """
    marked = sa.select(gaugings.c.run_id).where(gaugings.c.disc_mark == mark).distinct()
    query = _runs(press).where(runs.c.id.in_(marked))
    return _only(conn.execute(query).all(), f"disc mark {mark}", press)


def by_date(conn: sa.Connection, day: date, *, zone: ZoneInfo, press: str | None = None) -> int:
    """The run that was open on this day, in the shop's zone.

    Raises
    ------
    UserError
        No run, or several, were open on that day.
    """
    start = datetime.combine(day, time(), tzinfo=zone)
    end = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
    query = _runs(press).where(
        runs.c.opened_at < end.astimezone(UTC),
        sa.or_(runs.c.closed_at.is_(None), runs.c.closed_at >= start.astimezone(UTC)),
    )
    return _only(conn.execute(query).all(), f"{day:%Y-%m-%d}", press)


def _runs(press: str | None) -> sa.Select[tuple[int, str, str]]:
    query = (
        sa.select(runs.c.id, runs.c.name, presses.c.name.label("press"))
        .join(presses, presses.c.id == runs.c.press_id)
        .order_by(runs.c.opened_at, runs.c.id)
    )
    return query if press is None else query.where(presses.c.name == press)


def _only(rows: Sequence[sa.Row[tuple[int, str, str]]], what: str, press: str | None) -> int:
    where = "" if press is None else f" on {press}"
    if not rows:
        raise NoRun(f"no run is stored for {what}{where}; the run audit page lists the runs there are")
    if len(rows) > 1:
        named = ", ".join(f"{row.name} on {row.press}" for row in rows[:8])
        more = f" and {len(rows) - 8} more" if len(rows) > 8 else ""
        raise UserError(f"{what}{where} fits {len(rows)} runs ({named}{more}); name the run, and the press")
    return int(rows[0].id)
