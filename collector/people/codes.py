"""One-time codes: how somebody comes to a first password, or to a new one, without anybody else knowing it.

There is no default password. The first admin is whoever can read the terminal on which the screens were
started; everybody else gets a code from an admin or from the terminal, by word of mouth.
"""

from __future__ import annotations

import unicodedata
from datetime import datetime, timedelta

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.people import attempts, secret
from collector.people.person import SERVICE
from collector.people.roles import ROLES
from collector.store import journal, people
from collector.store.database import write
from collector.store.people import Account

CODE_LASTS = timedelta(days=2)
FIRST_CODE_LASTS = timedelta(days=30)
LONGEST_NAME = 60
RESERVED = (SERVICE, "terminal", "nobody")


def first_admin_code(engine: sa.Engine, *, wall: datetime) -> str | None:
    """A code for the first admin, in place of any earlier one; None once there is an account.

    From now on the store takes no name without an account.
    """
    code = secret.code()
    with write(engine) as conn:
        if people.all_accounts(conn):
            return None
        people.add_code(
            conn, secret.code_digest(code), account_id=None, wall=wall, expires_at=wall + FIRST_CODE_LASTS
        )
    return code


def give(conn: sa.Connection, account_id: int, *, wall: datetime) -> str:
    """A code with which the person of an account chooses a password; in the transaction of the act."""
    code = secret.code()
    people.add_code(
        conn, secret.code_digest(code), account_id=account_id, wall=wall, expires_at=wall + CODE_LASTS
    )
    return code


def redeem(
    engine: sa.Engine,
    code: str,
    *,
    name: str,
    password: str,
    pin: str = "",
    address: str,
    clock: ServiceClock,
) -> None:
    """Choose a password, and a PIN if wanted, with a one-time code; the code is used up.

    Where nobody has an account yet and the code is that of the first admin, the account is made.

    Parameters
    ----------
    engine : Engine
    code, name, password, pin : str
        As typed; an empty PIN is none.
    address : str
        Where it came from: wrong codes are counted.
    clock : ServiceClock

    Raises
    ------
    NotAllowed
        The code does not fit the name, was used, is over or was guessed too often; or the password or the
        PIN is too weak.
    """
    wall = clock.wall()
    secret.check_password(password, name)
    if pin:
        secret.check_pin(pin)
    name = check_name(name)
    guess = _counted(engine, name, address=address, wall=wall)
    hashes = {"password_hash": secret.hashed(password), "pin_hash": secret.hashed(pin) if pin else None}
    with write(engine) as conn:
        account = people.account(conn, name)
        if not _use(conn, code, account, wall=wall):
            raise NotAllowed("this code does not fit the name, was used, or is too old; ask for a new one")
        people.attempt_worked(conn, guess)
        if account is None:
            _make_first_admin(conn, name, hashes, clock)
        else:
            _choose(conn, account, hashes, clock)


def _use(conn: sa.Connection, code: str, account: Account | None, *, wall: datetime) -> bool:
    digest = secret.code_digest(code)
    if account is not None:
        return account.disabled_at is None and people.use_code(conn, digest, account_id=account.id, wall=wall)
    return not people.all_accounts(conn) and people.use_code(conn, digest, account_id=None, wall=wall)


def _choose(
    conn: sa.Connection, account: Account, hashes: dict[str, str | None], clock: ServiceClock
) -> None:
    """Every sign-in from before ends."""
    people.change_account(conn, account.id, hashes)
    people.end_sign_ins(conn, wall=clock.wall(), account_id=account.id)
    journal.append(
        conn, at=clock.now(), wall_at=clock.wall(), who=SERVICE, action="password chosen",
        subject=f"account {account.name}", why="with a one-time code",
    )  # fmt: skip


def check_name(name: str) -> str:
    """A name as an account keeps it.

    Raises
    ------
    NotAllowed
        It is empty, too long, holds other signs than names have, or is one of the service's own.
    """
    clean = " ".join(unicodedata.normalize("NFC", name).split())
    if not (clean and len(clean) <= LONGEST_NAME and all(map(_may_be_in_name, clean))):
        raise NotAllowed(f"a name has 1 to {LONGEST_NAME} letters, digits, spaces, and . ' -")
    if people.name_key(clean) in RESERVED:
        raise NotAllowed(f"{clean!r} is a name the service uses itself; take another")
    return clean


def _may_be_in_name(sign: str) -> bool:
    """Letters, marks and digits of any script; nothing that a page or a message could take for markup."""
    return sign in " .'-" or unicodedata.category(sign)[0] in "LMN"


def _counted(engine: sa.Engine, name: str, *, address: str, wall: datetime) -> int:
    with write(engine) as conn:
        people.one_guess_at_a_time(conn)
        refused = attempts.refusal(
            people.attempts_of(conn, name, "code"), people.wrong_from(conn, address, wall=wall), "code",
            now=wall,
        )  # fmt: skip
        if refused:
            raise NotAllowed(refused)
        return people.add_attempt(conn, name=name, address=address, kind="code", wall=wall)


def _make_first_admin(
    conn: sa.Connection, name: str, hashes: dict[str, str | None], clock: ServiceClock
) -> None:
    """The first account has every role: a shop of one person needs no other."""
    roles = list(ROLES)
    people.add_account(
        conn, {"name": name, "roles": roles, "created_at": clock.wall(), "created_by": SERVICE, **hashes}
    )
    journal.append(
        conn, at=clock.now(), wall_at=clock.wall(), who=SERVICE, action="first admin",
        subject=f"account {name}", after={"roles": roles},
    )  # fmt: skip
