"""Signing in with a password, acting with a PIN, and signing out.

A sign-in is a row of the store; the browser holds its token only, in a cookie that scripts cannot read. So it
ends everywhere at once when it is ended, when its time is over or when the account is disabled, and signing
in always makes a new one: a token from before is never taken over.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.errors import NotAllowed
from collector.people import attempts, secret
from collector.people.attempts import Attempt, Kind
from collector.people.person import Person
from collector.store import people
from collector.store.database import read, write
from collector.store.people import Account, SignIn

WRONG = "name and {what} do not fit together, or the account is disabled"
TERMINAL_FOR = timedelta(minutes=5)


def by_password(
    engine: sa.Engine, name: str, password: str, *, address: str, wall: datetime, lasts: timedelta
) -> Person:
    """Sign in at a browser.

    Parameters
    ----------
    engine : Engine
    name, password : str
        As typed.
    address : str
        Where it came from.
    wall : datetime
        Wall time.
    lasts : timedelta
        When the sign-in ends by itself.

    Raises
    ------
    NotAllowed
        They do not fit, or were tried too often.
    """
    found = _guess(engine, name, password, "password", address=address, wall=wall)
    return begin(engine, found, "browser", address=address, wall=wall, lasts=lasts)


def by_pin(
    engine: sa.Engine, name: str, pin: str, *, address: str, wall: datetime, lasts: timedelta
) -> Person:
    """Act under one's name for a short while at a tablet that many use; arguments as in :func:`by_password`.

    Raises
    ------
    NotAllowed
        They do not fit, or were tried too often.
    """
    found = _guess(engine, name, pin, "pin", address=address, wall=wall)
    return begin(engine, found, "pin", address=address, wall=wall, lasts=lasts)


def check_password(engine: sa.Engine, name: str, password: str, *, address: str, wall: datetime) -> Account:
    """Whether somebody who is signed in knows the password, before it is changed; counted as any guess.

    Raises
    ------
    NotAllowed
        It does not fit, or was tried too often.
    """
    return _guess(engine, name, password, "password", address=address, wall=wall)


def at_terminal(conn: sa.Connection, *, wall: datetime) -> Person:
    """Whoever may run commands on this computer; in a writing transaction. Never for a page."""
    token = secret.token()
    row = {
        "token_digest": secret.digest(token), "account_id": None, "kind": "terminal", "at": wall,
        "expires_at": wall + TERMINAL_FOR,
    }  # fmt: skip
    people.add_sign_in(conn, row)
    return Person("terminal", token)


def whose(engine: sa.Engine, token: str, *, wall: datetime) -> tuple[Person, SignIn] | None:
    """Who is behind a token, and what they may; None when the sign-in does not hold."""
    with read(engine) as conn:
        found = people.sign_in(conn, secret.digest(token), wall=wall)
    if found is None or found.account_id is None:
        return None
    return Person(found.name, token), found


def end(engine: sa.Engine, token: str, *, wall: datetime) -> None:
    """Sign out."""
    with write(engine) as conn:
        people.end_sign_ins(conn, wall=wall, token_digest=secret.digest(token))


def begin(
    engine: sa.Engine, account: Account, kind: str, *, address: str, wall: datetime, lasts: timedelta
) -> Person:
    """A new sign-in of somebody who has just proved who they are; kinds are those of the table."""
    token = secret.token()
    row = {
        "token_digest": secret.digest(token), "account_id": account.id, "kind": kind, "at": wall,
        "expires_at": wall + lasts, "address": address,
    }  # fmt: skip
    with write(engine) as conn:
        people.add_sign_in(conn, row)
    return Person(account.name, token)


def _guess(engine: sa.Engine, name: str, typed: str, kind: Kind, *, address: str, wall: datetime) -> Account:
    """The account, if what was typed is right. The guess counts as wrong before it is looked at.

    So a hundred guesses at the same moment are no more than the few that are allowed.
    """
    with write(engine) as conn:
        people.one_guess_at_a_time(conn)
        refused = attempts.refusal(*_attempts(conn, name, kind, address, wall), kind, now=wall)
        if refused:
            raise NotAllowed(refused)
        guess = people.add_attempt(conn, name=name, address=address, kind=kind, wall=wall)
        left = attempts.left_words(*_attempts(conn, name, kind, address, wall), kind, now=wall)
        account = people.account(conn, name)
    stored = None
    if account is not None and account.disabled_at is None:
        stored = account.password_hash if kind == "password" else account.pin_hash
    # Outside of the transaction: it takes a twentieth of a second on purpose, and the press must not wait.
    if not secret.fits(typed[: secret.LONGEST + 1], stored):
        what = "password" if kind == "password" else "PIN"
        raise NotAllowed(f"{WRONG.format(what=what)}: {left}")
    assert account is not None  # nothing fits where there is none
    with write(engine) as conn:
        people.attempt_worked(conn, guess)
    return account


def _attempts(
    conn: sa.Connection, name: str, kind: Kind, address: str, wall: datetime
) -> tuple[Sequence[Attempt], Sequence[datetime]]:
    """What counts against another guess: those at the name, and those from the address."""
    return people.attempts_of(conn, name, kind), people.wrong_from(conn, address, wall=wall)
