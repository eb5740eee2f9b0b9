"""Rows of people whom an identity provider signs in."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from collector.store import people
from collector.store.people import Account
from collector.store.tables import accounts, sign_in_states
from collector.store.upsert import insert_into


def account_of(conn: sa.Connection, issuer: str, subject: str) -> Account | None:
    """The account of somebody as the provider calls them.

    Never looked up by name: a provider may give a name to somebody else later, its subject never (OpenID
    Connect Core 1.0, 5.7).
    """
    query = sa.select(accounts.c.id).where(
        accounts.c.provider_issuer == issuer, accounts.c.provider_subject == subject
    )
    number = conn.execute(query).scalar()
    return None if number is None else people.account_by_id(conn, number)


def use_state(conn: sa.Connection, state_digest: bytes, *, expires_at: datetime, wall: datetime) -> bool:
    """Use a state up; False when it was used before. Of two at once one gets True."""
    conn.execute(sa.delete(sign_in_states).where(sign_in_states.c.expires_at <= wall))
    row = {"state_digest": state_digest, "expires_at": expires_at}
    done = conn.execute(insert_into(conn, sign_in_states).values(**row).on_conflict_do_nothing())
    return done.rowcount == 1
