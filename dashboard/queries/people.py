"""Who is at the screens: from the browser's cookie, or from name and PIN at a tablet."""

from __future__ import annotations

from datetime import datetime, timedelta

import streamlit as st

from collector.clock import wall_now
from collector.people import sign_in
from collector.people.person import Person
from collector.store import people
from collector.store.database import read, write
from collector.store.people import Account, SignIn
from dashboard.queries import database


@st.cache_resource(show_spinner=False)
def signing_key() -> bytes:
    """The key of the cookies, the same for every process of this store; read only, once there is one."""
    with read(database.engine()) as conn:
        known = people.signing_key(conn)
    if known is not None:
        return known
    with write(database.engine()) as conn:
        return people.make_signing_key(conn)


def are_accounts() -> bool:
    """Whether people act under accounts: the settings say so, or the store has some."""
    if database.settings().people.sign_in == "accounts":
        return True
    with read(database.engine()) as conn:
        return people.is_enforced(conn)


def whose(token: str | None) -> tuple[Person, SignIn] | None:
    """Who is behind a token now."""
    return None if token is None else sign_in.whose(database.engine(), token, wall=wall_now())


def by_pin(name: str, pin: str, address: str) -> Person:
    """Act under one's name for a short while.

    Raises
    ------
    NotAllowed
        Name and PIN do not fit, or were tried too often.
    """
    lasts = timedelta(minutes=database.settings().people.pin_minutes)
    return sign_in.by_pin(database.engine(), name, pin, address=address, wall=wall_now(), lasts=lasts)


def has_password(name: str) -> bool:
    """Whether somebody has a password here; who comes by the identity provider need have none."""
    with read(database.engine()) as conn:
        found = people.account(conn, name)
    return found is not None and found.password_hash is not None


def sign_out(token: str) -> None:
    """End a sign-in."""
    sign_in.end(database.engine(), token, wall=wall_now())


def with_pin() -> list[str]:
    """Names that have a PIN."""
    with read(database.engine()) as conn:
        return [each.name for each in people.all_accounts(conn) if each.pin_hash and not each.disabled_at]


def listing() -> tuple[list[Account], dict[int, datetime]]:
    """Every account, and when each last signed in."""
    with read(database.engine()) as conn:
        return people.all_accounts(conn), people.last_sign_ins(conn)
