"""What people do about their own account: choose another password or PIN."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.actions.doer import named
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.people import by_provider, secret, sign_in
from collector.people.person import Person
from collector.store import journal, people
from collector.store.database import write
from collector.store.people import Account

FRESH = timedelta(minutes=5)  # between the provider's asking and the choice of a PIN


def change(
    engine: sa.Engine,
    *,
    who: str,
    current: str,
    password: str = "",
    pin: str = "",
    address: str,
    clock: ServiceClock,
) -> None:
    """Choose another password or PIN for oneself; whoever is signed in under this name must sign in again.

    Raises
    ------
    NotAllowed
        The current password is wrong, nothing was chosen, or it is too weak.
    """
    named(who)
    if not (password or pin):
        raise NotAllowed("enter a new password, a new PIN, or both")
    if password:
        secret.check_password(password, who)
    if pin:
        secret.check_pin(pin)
    account = sign_in.check_password(engine, who, current, address=address, wall=clock.wall())
    hashes = {"password_hash": secret.hashed(password)} if password else {}
    hashes |= {"pin_hash": secret.hashed(pin)} if pin else {}
    with write(engine) as conn:
        _store(conn, account, hashes, who=who, clock=clock)


def choose_pin(engine: sa.Engine, pin: str, *, who: str, clock: ServiceClock) -> None:
    """Choose another PIN without a password, right after the identity provider asked who one is.

    Whoever is signed in under this name must sign in again.

    Raises
    ------
    NotAllowed
        The PIN is too weak, there is a password that must be asked for, or the sign-in is not of just now.
    """
    named(who)
    secret.check_pin(pin)
    pin_hash = secret.hashed(pin)  # outside of the transaction: it takes its time on purpose
    with write(engine) as conn:
        account = people.account(conn, who)
        if account is None:
            raise NotAllowed(f"there is no account {who!r}; sign in anew")
        if account.password_hash is not None:
            raise NotAllowed("enter your current password too")
        if not _just_now(conn, who, clock.wall()):
            raise NotAllowed("sign in at the identity provider again, and choose the PIN within five minutes")
        _store(conn, account, {"pin_hash": pin_hash}, who=who, clock=clock)


def _store(
    conn: sa.Connection, account: Account, hashes: Mapping[str, str], *, who: str, clock: ServiceClock
) -> None:
    journal.append(
        conn, at=clock.now(), wall_at=clock.wall(), who=who, subject=f"account {account.name}",
        action="password chosen" if "password_hash" in hashes else "PIN chosen",
    )  # fmt: skip
    people.change_account(conn, account.id, hashes)
    people.end_sign_ins(conn, wall=clock.wall(), account_id=account.id)


def _just_now(conn: sa.Connection, who: str, wall: datetime) -> bool:
    token = who.token if isinstance(who, Person) else ""
    found = people.sign_in(conn, secret.digest(token), wall=wall)
    return found is not None and found.kind == by_provider.KIND and abs(wall - found.at) <= FRESH
