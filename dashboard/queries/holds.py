"""Holds with what lies inside them, for the pages where they are decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from collector.store import holds as hold_store
from collector.store.holds import Extent, HoldRow
from collector.store.tables import shots
from dashboard.queries.alarms import LATELY, press_names


@dataclass(frozen=True, slots=True)
class Held:
    """A hold with what lies inside it."""

    hold: HoldRow
    extent: Extent


def held_of(conn: sa.Connection, hold: HoldRow) -> Held:
    """A hold with its trays and discs."""
    extent = hold_store.extent(
        conn, press_id=hold.press_id, from_shot_id=hold.from_shot_id, to_shot_id=hold.to_shot_id
    )
    return Held(hold, extent)


def all_open_holds(conn: sa.Connection) -> list[tuple[str, Held]]:
    """Every hold that waits for a decision, with its press, oldest first."""
    names = press_names(conn)
    return [(names[hold.press_id], held_of(conn, hold)) for hold in hold_store.open_holds(conn)]


def decided_holds(conn: sa.Connection) -> list[tuple[str, Held]]:
    """The holds decided last, with their press, newest first."""
    names = press_names(conn)
    return [(names[hold.press_id], held_of(conn, hold)) for hold in hold_store.decided(conn, last=LATELY)]


def open_holds(found: Sequence[Held]) -> list[Held]:
    """Those that nobody has released or scrapped."""
    return [each for each in found if each.hold.state == hold_store.OPEN]


def shot_of(conn: sa.Connection, press_id: int, counter: int) -> int | None:
    """The newest shot of a press with this counter; None when it has none."""
    found = sa.select(shots.c.id).where(shots.c.press_id == press_id, shots.c.counter == counter)
    # By the epoch: a run of the past that was imported since has newer rows.
    return conn.execute(found.order_by(shots.c.epoch.desc()).limit(1)).scalar()
