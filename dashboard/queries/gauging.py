"""What the gauging page shows: discs to gauge, what was gauged lately, and lists joined by order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from collector.gauging.age import set_time_h
from collector.gauging.model import Disc, NewGauging
from collector.gauging.proposal import Proposal, Why, due_from
from collector.store import disc_lookup, discs_due
from collector.store.gaugings import Listed
from collector.store.tables import gaugings, presses, runs, shots

SOON = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ToGauge:
    """A disc as a person finds it: where it lies, when it was molded, and why it is asked for.

    `why` is None for a disc chosen by hand.
    """

    shot_id: int
    press: str
    run: str | None
    mold: str | None
    counter: int | None
    tray: str | None
    position: int | None
    ended_at: datetime
    time_reconstructed: bool
    why: Why | None
    due_at: datetime

    def age_h(self, now: datetime) -> float | None:
        """Hours since it was molded; None when that time was only computed."""
        return None if self.time_reconstructed else (now - self.ended_at) / timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderList:
    """A list of gaugings joined by order: its first shot shows whether the offset is right."""

    site: str
    batch: str
    named_run: str | None
    readings: int
    joined: int
    offset: int
    press: str | None
    run: str | None
    first_counter: int | None

    @property
    def listed(self) -> Listed:
        """Which list it is."""
        return Listed(self.site, self.named_run, self.batch)


def to_gauge(
    conn: Connection, now: datetime, *, characteristic: str, within: timedelta = SOON
) -> list[ToGauge]:
    """Discs to gauge, those that are old enough first."""
    proposals = discs_due.due(conn, now, characteristic=characteristic, within=within)
    places = _places(conn, [proposal.disc for proposal in proposals])
    return [_to_gauge(proposal, places, proposal.why) for proposal in proposals]


def due_count(conn: Connection, now: datetime) -> int:
    """How many discs are due for their dome now: those that the Gauging page lists as due now."""
    return sum(each.due_at <= now for each in discs_due.due(conn, now, within=SOON))


def find_disc(conn: Connection, wanted: NewGauging) -> ToGauge | str:
    """The disc that a person names, or the sentence why there is none."""
    join = disc_lookup.find(conn, wanted)
    if join.disc is None:
        return f"{join.reason[:1].upper()}{join.reason[1:]}."
    by_hand = Proposal(join.disc, Why.CONTROL, due_from(join.disc, set_time_h(wanted.characteristic)))
    return _to_gauge(by_hand, _places(conn, [join.disc]), None)


def gauged_since(conn: Connection, since: datetime, *, characteristic: str) -> int:
    """How many readings of a characteristic came since then."""
    query = sa.select(sa.func.count()).where(
        gaugings.c.characteristic == characteristic,
        gaugings.c.received_at >= since,
        gaugings.c.withdrawn_at.is_(None),
    )
    return int(conn.execute(query).scalar_one())


def press_names(conn: Connection, site: str) -> list[str]:
    """Presses of a site."""
    query = sa.select(presses.c.name).where(presses.c.site == site).order_by(presses.c.name)
    return list(conn.execute(query).scalars())


def order_lists(conn: Connection, *, limit: int = 10) -> list[OrderList]:
    """Lists joined by order, newest first."""
    c = gaugings.c
    which = (c.site, c.order_batch.label("batch"), c.run_name.label("named_run"))
    joined = gaugings.outerjoin(runs, runs.c.id == gaugings.c.run_id).outerjoin(
        presses, presses.c.id == gaugings.c.press_id
    ).outerjoin(shots, shots.c.id == gaugings.c.shot_id)  # fmt: skip
    query = (
        sa.select(
            *which, sa.func.count().label("readings"),
            sa.func.count(gaugings.c.shot_id).label("joined"),
            sa.func.coalesce(sa.func.max(gaugings.c.order_offset), 0).label("offset"),
            sa.func.max(presses.c.name).label("press"), sa.func.max(runs.c.name).label("run"),
            sa.func.min(shots.c.counter).label("first_counter"),
        )
        .select_from(joined)
        .where(gaugings.c.order_batch.is_not(None), gaugings.c.withdrawn_at.is_(None))
        .group_by(*which)
        .order_by(sa.func.max(gaugings.c.id).desc())
        .limit(limit)
    )  # fmt: skip
    return [OrderList(**row) for row in conn.execute(query).mappings()]


def _places(conn: Connection, discs: Sequence[Disc]) -> dict[int, tuple[str, str | None, str | None]]:
    """Press, run and mold of each disc's shot."""
    press_names = {row.id: row.name for row in conn.execute(sa.select(presses.c.id, presses.c.name))}
    run_ids = sorted({disc.run_id for disc in discs if disc.run_id is not None})
    query = sa.select(runs.c.id, runs.c.name, runs.c.mold).where(runs.c.id.in_(run_ids))
    of_run = {row.id: (row.name, row.mold) for row in conn.execute(query)}
    return {
        disc.shot_id: (press_names[disc.press_id], *of_run.get(disc.run_id or 0, (None, None)))
        for disc in discs
    }


def _to_gauge(
    proposal: Proposal, places: dict[int, tuple[str, str | None, str | None]], why: Why | None
) -> ToGauge:
    disc = proposal.disc
    press, run, mold = places[disc.shot_id]
    return ToGauge(
        shot_id=disc.shot_id, press=press, run=run, mold=mold, counter=disc.counter, tray=disc.tray,
        position=disc.tray_position, ended_at=disc.ended_at, time_reconstructed=disc.time_reconstructed,
        why=why, due_at=proposal.due_at,
    )  # fmt: skip
