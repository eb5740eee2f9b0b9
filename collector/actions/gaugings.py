"""Gaugings by hand: enter one, take one back, shift a list that was off by some discs."""

from __future__ import annotations

from dataclasses import replace

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.gauging.model import NewGauging, Outcome
from collector.gauging.record import record
from collector.gauging.record import shift_order as join_in_order
from collector.store import gaugings, journal
from collector.store.canonical import Json
from collector.store.database import write
from collector.store.gaugings import Listed

FORM = "form"


def enter(engine: sa.Engine, gauging: NewGauging, *, who: str, clock: ServiceClock) -> Outcome:
    """Store a reading that a person took.

    Parameters
    ----------
    engine : Engine
    gauging : NewGauging
        Value in the canonical unit; its `who` is replaced by the argument.
    who : str
        Who gauged.
    clock : ServiceClock

    Returns
    -------
    Outcome

    Raises
    ------
    NotAllowed
        Nobody is named.
    """
    _named(who)
    now = clock.now()
    with write(engine) as conn:
        outcome = record(conn, [replace(gauging, who=who)], now=now, source=FORM)[0]
        if outcome.state != "duplicate":
            after: dict[str, Json] = {
                "characteristic": gauging.characteristic, "value": gauging.value, "unit": gauging.unit,
                "shot": outcome.shot_id, "gauge": gauging.gauge,
            }  # fmt: skip
            journal.append(
                conn, at=now, wall_at=clock.wall(), who=who, action="gauging entered",
                subject=f"gauging {outcome.gauging_id}", after=after,
            )  # fmt: skip
    return outcome


def withdraw(
    engine: sa.Engine, gauging_id: int, *, who: str, clock: ServiceClock, why: str | None = None
) -> None:
    """Take a reading back; it is kept, marked as withdrawn, and counts nowhere.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such gauging, or it was withdrawn before.
    """
    _named(who)
    now = clock.now()
    with write(engine) as conn:
        row = gaugings.get(conn, gauging_id)
        if row is None:
            raise NotAllowed(f"There is no gauging {gauging_id}; reload the page to see those there are.")
        if not gaugings.withdraw(conn, gauging_id, at=now):
            raise NotAllowed(f"Gauging {gauging_id} was withdrawn before; enter it anew if it is right.")
        before: dict[str, Json] = {
            "characteristic": row.characteristic, "value": row.value, "unit": row.unit, "shot": row.shot_id,
        }  # fmt: skip
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="gauging withdrawn",
            subject=f"gauging {gauging_id}", before=before, why=why,
        )  # fmt: skip


def shift_order(
    engine: sa.Engine,
    asked: Listed,
    offset: int,
    *,
    who: str,
    clock: ServiceClock,
    why: str | None = None,
) -> list[Outcome]:
    """Correct which shots a list of gaugings belongs to.

    Parameters
    ----------
    asked : Listed
        The list.
    offset : int
        Shots of the run to skip before the list's first reading; 0 when it begins with the run.

    Returns
    -------
    list of Outcome
        One for each gauging of the list.

    Raises
    ------
    NotAllowed
        Nobody is named, or there is no such list.
    """
    _named(who)
    now = clock.now()
    with write(engine) as conn:
        before = gaugings.offsets(conn, [asked]).get(asked)
        if before is None:
            raise NotAllowed(f"There is no list of gaugings called {asked.batch}; reload the page.")
        outcomes = join_in_order(conn, asked, offset)
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="gauging order shifted",
            subject=f"gauging list {asked.batch}", before={"run": asked.run, "offset": before},
            after={"run": asked.run, "offset": offset}, why=why,
        )  # fmt: skip
    return outcomes


def _named(who: str) -> None:
    if not who.strip():
        raise NotAllowed("Choose who you are first; every reading keeps who took it.")
