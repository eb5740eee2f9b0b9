"""What happened in a shift, in a few lines: shots, alarms, holds, gaugings, refusals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from collector.contract.figures import counted
from collector.contract.topics import ROOT
from collector.store.tables import alarms, gaugings, holds, presses, refusals, shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Counts of one shift; `shots` by press, in the order of their names."""

    shots: tuple[tuple[str, int], ...]
    alarms: tuple[tuple[str, str, bool], ...]  # press, headline, still without a cause
    holds_open: int
    gaugings: int
    refused: int


def figures(conn: sa.Connection, site: str, since: datetime, until: datetime) -> Figures:
    """Count what happened at a site between two floor times (`until` excluded); holds as they are now.

    A refused row of a file names no site and counts at each.
    """
    a, g, r = alarms.c, gaugings.c, refusals.c
    here = sa.select(presses.c.id).where(presses.c.site == site)
    rows = conn.execute(
        sa.select(presses.c.name, a.headline, a.closed_at)
        .join_from(alarms, presses, presses.c.id == a.press_id, isouter=True)
        .where(a.opened_at >= since, a.opened_at < until, sa.func.coalesce(presses.c.site, a.site) == site)
        .order_by(a.opened_at)
    )
    return Figures(
        shots=tuple(_shots(conn, site, since, until)),
        alarms=tuple((row.name or "Service", row.headline, row.closed_at is None) for row in rows),
        holds_open=_count(conn, holds, holds.c.state == "open", holds.c.press_id.in_(here)),
        gaugings=_count(
            conn, gaugings, g.site == site, g.gauged_at >= since, g.gauged_at < until,
            g.withdrawn_at.is_(None),
        ),
        refused=_count(
            conn, refusals, r.received_at >= since, r.received_at < until, ~_sent_to_another(site)
        ),
    )


def summary(found: Figures) -> str:
    """The figures as lines of text."""
    total = sum(count for _, count in found.shots)
    by_press = ", ".join(f"{name} {count:,}" for name, count in found.shots if count)
    still = sum(waits for _, _, waits in found.alarms)
    lines = [
        f"{total:,} shots" + (f": {by_press}" if by_press else ""),
        f"{counted(len(found.alarms), 'alarm')}, {still} of them still without a cause",
        *(f"- {press}: {headline}{', still without a cause' if waits else ''}"
          for press, headline, waits in found.alarms),
        f"{counted(found.holds_open, 'hold')} open now, {counted(found.gaugings, 'gauging')} made",
    ]  # fmt: skip
    if found.refused:
        lines.append(f"{counted(found.refused, 'message')} could not be read; the Service page lists them")
    return "\n".join(lines)


def _shots(conn: sa.Connection, site: str, since: datetime, until: datetime) -> Sequence[tuple[str, int]]:
    """Shots of each press; one count a press, so that each uses the index of its times."""
    listed = conn.execute(
        sa.select(presses.c.id, presses.c.name).where(presses.c.site == site).order_by(presses.c.name)
    ).all()
    at = shots.c.ended_at
    return [
        (row.name, _count(conn, shots, shots.c.press_id == row.id, at >= since, at < until)) for row in listed
    ]


def _sent_to_another(site: str) -> sa.ColumnElement[bool]:
    """Condition on a refusal: its topic is one of this contract, of another site."""
    topic = sa.func.coalesce(refusals.c.topic, "")
    ours, here = f"{ROOT}/", f"{ROOT}/{site}/"
    return sa.and_(topic.startswith(ours, autoescape=True), ~topic.startswith(here, autoescape=True))


def _count(conn: sa.Connection, table: sa.Table, *where: sa.ColumnElement[bool]) -> int:
    return conn.execute(sa.select(sa.func.count()).select_from(table).where(*where)).scalar_one()
