"""Whoever acts by a command, as the journal names them."""

from __future__ import annotations

import sqlalchemy as sa

from collector.clock import wall_now
from collector.people import sign_in
from collector.people.person import Person
from collector.store import database


def acting(engine: sa.Engine, who: str) -> Person:
    """A name given at the terminal of the store's computer, whose word is taken for it."""
    with database.write(engine) as conn:
        return Person(who, sign_in.at_terminal(conn, wall=wall_now()).token)
