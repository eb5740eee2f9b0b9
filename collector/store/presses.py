"""Rows of presses, and the engine's state of each."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from collector.contract.messages import StateMessage
from collector.store.tables import engine_states, presses
from collector.store.upsert import insert_into

# Made once: they are asked for every press of every batch, and making one takes longer than its answer.
_NAMED = sa.select(presses.c.id).where(
    presses.c.site == sa.bindparam("site"), presses.c.name == sa.bindparam("name")
)
_NAMED_AND_LOCKED = _NAMED.with_for_update(key_share=True)  # SQLite has one writer at a time anyway
_LOCK = (
    sa.select(presses.c.id)
    .where(presses.c.id == sa.bindparam("press_id"))
    .with_for_update(key_share=True)
)
_NOTE = sa.update(presses).where(presses.c.id == sa.bindparam("noted_press_id"))
_STATE = sa.select(engine_states.c.state).where(engine_states.c.press_id == sa.bindparam("press_id"))
_OF_PRESS = sa.update(engine_states).where(engine_states.c.press_id == sa.bindparam("state_press_id"))
_REPLACE = {  # by whether the newest shot is known
    False: _OF_PRESS.values(state=sa.bindparam("state")),
    True: _OF_PRESS.values(state=sa.bindparam("state"), last_shot_id=sa.bindparam("last_shot_id")),
}


@dataclass(frozen=True, slots=True)
class PressRow:
    """Identity of a press."""

    id: int
    site: str
    name: str


def find_or_add(conn: sa.Connection, site: str, name: str) -> PressRow:
    """The row of a press, made at its first message."""
    return _found_or_added(conn, _NAMED, site, name)


def take(conn: sa.Connection, site: str, name: str) -> PressRow:
    """The same, locked as by :func:`lock`, in one question.

    What was judged of the press is to be asked after it: a question that waits for the lock is answered
    with the rows of other tables as they were before it waited.
    """
    return _found_or_added(conn, _NAMED_AND_LOCKED, site, name)


def _found_or_added(conn: sa.Connection, query: sa.Select[int], site: str, name: str) -> PressRow:
    named = {"site": site, "name": name}
    found = conn.execute(query, named).scalar_one_or_none()
    if found is None:  # another process may be about to add the same one
        conn.execute(insert_into(conn, presses).values(site=site, name=name).on_conflict_do_nothing())
        found = conn.execute(query, named).scalar_one()
    return PressRow(found, site, name)


def find(conn: sa.Connection, site: str, name: str) -> PressRow | None:
    """The row of a press, None for one that never reported."""
    found = conn.execute(_NAMED, {"site": site, "name": name}).scalar_one_or_none()
    return None if found is None else PressRow(found, site, name)


def of_site(conn: sa.Connection, site: str) -> set[int]:
    """The ids of a site's presses."""
    return set(conn.execute(sa.select(presses.c.id).where(presses.c.site == site)).scalars())


def by_id(conn: sa.Connection, press_id: int) -> PressRow:
    """The press with this id."""
    found = conn.execute(sa.select(presses.c.site, presses.c.name).where(presses.c.id == press_id)).one()
    return PressRow(press_id, found.site, found.name)


def lock(conn: sa.Connection, press_id: int) -> None:
    """Wait until no other transaction judges shots of this press; none begins to before this one ends.

    SQLite has one writer at a time anyway.
    """
    if conn.dialect.name != "sqlite":
        conn.execute(_LOCK, {"press_id": press_id})


def in_lock_order(conn: sa.Connection, press_ids: Collection[int]) -> list[int]:
    """These presses by site and name: so locked, as a batch locks its own, no two wait for each other."""
    c = presses.c
    rows = conn.execute(sa.select(c.site, c.name, c.id).where(c.id.in_(press_ids))).all()
    return [press_id for _, _, press_id in sorted(map(tuple, rows))]


def note(conn: sa.Connection, press_id: int, newest: Mapping[str, Any]) -> None:
    """Keep what a transaction made newer: `last_shot_at`, `usual_cycle_s`, `heard_at`, `clock_behind_s`.

    Silence is judged by them; one that is not named stays as it is.
    """
    conn.execute(_NOTE, {"noted_press_id": press_id, **newest})


def note_state(conn: sa.Connection, press_id: int, message: StateMessage) -> tuple[bool, str | None]:
    """Keep the newest state of a press or its gateway.

    A retained message comes again at every connection; what is not newer changes nothing.

    Returns
    -------
    changed : bool
    before : str or None
        The state before.
    """
    row = conn.execute(sa.select(presses.c.state, presses.c.state_at).where(presses.c.id == press_id)).one()
    if row.state_at is not None and message.at <= row.state_at:
        return False, row.state
    conn.execute(
        sa.update(presses).where(presses.c.id == press_id).values(state=message.state, state_at=message.at)
    )
    return True, row.state


def set_back(
    conn: sa.Connection, press_id: int, state: dict[str, Any], *, last_shot_id: int | None,
    last_shot_at: datetime | None,
) -> None:
    """Take a press back to an earlier newest shot, or to none."""
    own = sa.update(engine_states).where(engine_states.c.press_id == press_id)
    conn.execute(own.values(state=state, last_shot_id=last_shot_id))
    conn.execute(sa.update(presses).where(presses.c.id == press_id).values(last_shot_at=last_shot_at))


def load_engine_state(conn: sa.Connection, press_id: int) -> dict[str, Any] | None:
    """The engine's state after the last committed shot, None for a press without one."""
    state: dict[str, Any] | None = conn.execute(_STATE, {"press_id": press_id}).scalar_one_or_none()
    return state


def save_engine_state(
    conn: sa.Connection, press_id: int, state: dict[str, Any], *, last_shot_id: int | None
) -> None:
    """Replace the engine's state of a press."""
    changes: dict[str, Any] = {"state": state}
    if last_shot_id is not None:
        changes["last_shot_id"] = last_shot_id
    done = conn.execute(_REPLACE[last_shot_id is not None], {"state_press_id": press_id, **changes})
    if done.rowcount == 0:
        conn.execute(sa.insert(engine_states).values(press_id=press_id, **changes))
