"""Whether somebody may do what the journal is about to say they did.

Asked in the transaction of the act, so an account that was disabled a moment ago can do nothing any more, and
an act that is not permitted leaves no trace but the refusal. A store without accounts takes every name: it
belongs to one person, or to a demo.
"""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from collector.errors import NotAllowed
from collector.people import roles
from collector.people.person import SERVICE, Person
from collector.people.secret import digest
from collector.store import people

TERMINAL = "terminal"
BY_PIN = "pin"


def check(conn: sa.Connection, who: str, action: str, *, wall: datetime) -> None:
    """Refuse an act that this person may not do.

    Parameters
    ----------
    conn : Connection
        The transaction of the act.
    who : str
        A :class:`Person`; where there are no accounts any name; or "service".
    action : str
        As the journal names it.
    wall : datetime
        Wall time.

    Raises
    ------
    NotAllowed
        With what would be needed.
    """
    act = roles.ACTS.get(action)
    if who == SERVICE:
        if act is not None and not act.service:
            raise NotAllowed(f"{action!r} is done by a person, not by the service")
        return
    if not people.is_enforced(conn):
        return
    if not isinstance(who, Person):
        raise NotAllowed("sign in first: here people act under their own account")
    found = people.sign_in(conn, digest(who.token), wall=wall)
    if found is None:
        raise NotAllowed(f"the sign-in of {who} is over, or the account was disabled; sign in again")
    if found.kind == TERMINAL:
        return
    if found.name != who:
        raise NotAllowed(f"this sign-in is not that of {who}; sign in again")
    lacks = roles.refusal(action, found.roles, by_pin=found.kind == BY_PIN)
    if lacks is not None:
        raise NotAllowed(f"{who} may not do this: {lacks}")
