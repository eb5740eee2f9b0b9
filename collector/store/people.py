"""Rows of accounts, sign-ins, one-time codes and attempts. Times are wall time."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from unicodedata import normalize

import sqlalchemy as sa

from collector.people.attempts import WINDOW, Attempt, Kind
from collector.store.tables import accounts, sign_in_attempts, sign_in_codes, sign_in_keys, sign_ins
from collector.store.upsert import insert_into

MOST_ATTEMPTS = 50  # of one name that are looked at; more than any limit counts


@dataclass(frozen=True, slots=True)
class Account:
    """One account; the fields are the columns of the table."""

    id: int
    name: str
    name_key: str
    roles: list[str]
    password_hash: str | None
    pin_hash: str | None
    created_at: datetime
    created_by: str
    disabled_at: datetime | None
    provider_issuer: str | None
    provider_subject: str | None


@dataclass(frozen=True, slots=True)
class SignIn:
    """A sign-in that holds, and whose it is; no account means the terminal."""

    id: int
    kind: str
    account_id: int | None
    name: str
    roles: tuple[str, ...]
    at: datetime
    expires_at: datetime


_ACCOUNT = [accounts.c[name] for name in Account.__dataclass_fields__]


def name_key(name: str) -> str:
    """What tells two names apart: not case, nor how many spaces, nor how its signs are encoded.

    An accented letter comes as one sign or as a letter and its accent, depending on the computer; NFKC
    (Unicode Standard Annex 15) makes them one.
    """
    return " ".join(normalize("NFKC", name).casefold().split())


def is_enforced(conn: sa.Connection) -> bool:
    """Whether this store knows people by accounts: there is one, or the first is waited for."""
    for table in (accounts, sign_in_codes):
        if conn.execute(sa.select(table.c.id).limit(1)).first() is not None:
            return True
    return False


def all_accounts(conn: sa.Connection) -> list[Account]:
    """Every account by name, disabled ones too."""
    rows = conn.execute(sa.select(*_ACCOUNT).order_by(accounts.c.name_key)).mappings()
    return [Account(**row) for row in rows]


def account(conn: sa.Connection, name: str) -> Account | None:
    """The account of a name, however it is capitalized."""
    query = sa.select(*_ACCOUNT).where(accounts.c.name_key == name_key(name))
    row = conn.execute(query).mappings().first()
    return None if row is None else Account(**row)


def account_by_id(conn: sa.Connection, account_id: int) -> Account | None:
    """One account by its number."""
    row = conn.execute(sa.select(*_ACCOUNT).where(accounts.c.id == account_id)).mappings().first()
    return None if row is None else Account(**row)


def add_account(conn: sa.Connection, values: Mapping[str, Any]) -> int:
    """Write a new account and return its number."""
    row = {**values, "name_key": name_key(values["name"])}
    return int(conn.execute(sa.insert(accounts).values(**row).returning(accounts.c.id)).scalar_one())


def change_account(conn: sa.Connection, account_id: int, values: Mapping[str, Any]) -> None:
    """Write the given columns of one account."""
    conn.execute(sa.update(accounts).where(accounts.c.id == account_id).values(**values))


def add_sign_in(conn: sa.Connection, values: Mapping[str, Any]) -> None:
    """Write a sign-in."""
    conn.execute(sa.insert(sign_ins).values(**values))


def sign_in(conn: sa.Connection, token_digest: bytes, *, wall: datetime) -> SignIn | None:
    """The sign-in of a token, if it holds: not ended, not over, its account there and not disabled."""
    query = (
        sa.select(
            sign_ins.c.id, sign_ins.c.kind, sign_ins.c.account_id, sign_ins.c.at, sign_ins.c.expires_at,
            accounts.c.name, accounts.c.roles,
        )
        .select_from(sign_ins.outerjoin(accounts))
        .where(
            sign_ins.c.token_digest == token_digest, sign_ins.c.ended_at.is_(None),
            sign_ins.c.expires_at > wall, accounts.c.disabled_at.is_(None),
        )
    )  # fmt: skip
    row = conn.execute(query).first()
    if row is None:
        return None
    name, roles = row.name or "", tuple(row.roles or ())
    return SignIn(row.id, row.kind, row.account_id, name, roles, row.at, row.expires_at)


def end_sign_ins(
    conn: sa.Connection, *, wall: datetime, account_id: int | None = None, token_digest: bytes | None = None
) -> None:
    """End one sign-in, or all of an account."""
    by_token = sign_ins.c.token_digest == token_digest
    mine = sign_ins.c.account_id == account_id if token_digest is None else by_token
    conn.execute(sa.update(sign_ins).where(mine, sign_ins.c.ended_at.is_(None)).values(ended_at=wall))


def end_everything(conn: sa.Connection, *, wall: datetime) -> None:
    """End every sign-in and use up every code."""
    conn.execute(sa.update(sign_ins).where(sign_ins.c.ended_at.is_(None)).values(ended_at=wall))
    conn.execute(sa.update(sign_in_codes).where(sign_in_codes.c.used_at.is_(None)).values(used_at=wall))


def last_sign_ins(conn: sa.Connection) -> dict[int, datetime]:
    """When each account last signed in."""
    query = sa.select(sign_ins.c.account_id, sa.func.max(sign_ins.c.at, type_=sign_ins.c.at.type).label("at"))
    query = query.where(sign_ins.c.account_id.is_not(None)).group_by(sign_ins.c.account_id)
    return {row.account_id: row.at for row in conn.execute(query)}


def add_code(
    conn: sa.Connection, code_digest: bytes, *, account_id: int | None, wall: datetime, expires_at: datetime
) -> None:
    """Keep a one-time code; earlier ones of the same account are worth nothing from now on."""
    earlier = (_codes_of(account_id), sign_in_codes.c.used_at.is_(None))
    conn.execute(sa.update(sign_in_codes).where(*earlier).values(used_at=wall))
    conn.execute(
        sa.insert(sign_in_codes).values(
            code_digest=code_digest, account_id=account_id, at=wall, expires_at=expires_at
        )
    )


def use_code(conn: sa.Connection, code_digest: bytes, *, account_id: int | None, wall: datetime) -> bool:
    """Use a code up; False when it is not one, was used, or is over. Of two at once one gets True."""
    done = conn.execute(
        sa.update(sign_in_codes)
        .where(sign_in_codes.c.code_digest == code_digest, _codes_of(account_id))
        .where(sign_in_codes.c.used_at.is_(None), sign_in_codes.c.expires_at > wall)
        .values(used_at=wall)
    )
    return done.rowcount == 1


def _codes_of(account_id: int | None) -> sa.ColumnElement[bool]:
    column = sign_in_codes.c.account_id
    return column.is_(None) if account_id is None else column == account_id


def one_guess_at_a_time(conn: sa.Connection) -> None:
    """Let other guesses wait until this transaction ends, so that none slips past the limit beside it."""
    if conn.dialect.name == "postgresql":  # SQLite has one writer at a time anyway
        conn.exec_driver_sql("LOCK TABLE sign_in_attempts IN EXCLUSIVE MODE")


def add_attempt(conn: sa.Connection, *, name: str, address: str, kind: Kind, wall: datetime) -> int:
    """Note a guess before it is looked at, as a wrong one; :func:`attempt_worked` mends it."""
    row = {"at": wall, "name_key": name_key(name)[:200], "address": address, "kind": kind, "worked": False}
    query = sa.insert(sign_in_attempts).values(**row).returning(sign_in_attempts.c.id)
    return int(conn.execute(query).scalar_one())


def attempt_worked(conn: sa.Connection, attempt_id: int) -> None:
    """The guess was right."""
    conn.execute(sa.update(sign_in_attempts).where(sign_in_attempts.c.id == attempt_id).values(worked=True))


def attempts_of(conn: sa.Connection, name: str, kind: Kind) -> list[Attempt]:
    """The last attempts of one kind for a name, and the right ones of any, newest first.

    Wrong ones of another kind are left out: they would push those that count out of sight.
    """
    c = sign_in_attempts.c
    counts = sa.or_(c.kind == kind, c.worked.is_(True))
    query = sa.select(c.at, c.kind, c.worked).where(c.name_key == name_key(name)[:200], counts)
    rows = conn.execute(query.order_by(c.id.desc()).limit(MOST_ATTEMPTS))
    return [Attempt(row.at, row.kind, row.worked) for row in rows]


def wrong_from(conn: sa.Connection, address: str, *, wall: datetime) -> Sequence[datetime]:
    """When the last wrong attempts came from an address, newest first."""
    c = sign_in_attempts.c
    query = sa.select(c.at).where(c.address == address, c.worked.is_(False), c.at > wall - WINDOW)
    return conn.execute(query.order_by(c.id.desc()).limit(MOST_ATTEMPTS)).scalars().all()


def signing_key(conn: sa.Connection) -> bytes | None:
    """The key that signs this store's cookies; None before it was made."""
    found = conn.execute(sa.select(sign_in_keys.c.signing_key)).scalar_one_or_none()
    return None if found is None else bytes(found)


def make_signing_key(conn: sa.Connection) -> bytes:
    """The same, made where there is none; in a writing transaction."""
    made = insert_into(conn, sign_in_keys).values(id=1, signing_key=secrets.token_bytes(32))
    conn.execute(made.on_conflict_do_nothing())
    return bytes(conn.execute(sa.select(sign_in_keys.c.signing_key)).scalar_one())
