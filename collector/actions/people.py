"""What an admin does about accounts: add one, change its roles, disable it, hand out a code."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.people import codes
from collector.people.roles import ROLES
from collector.store import journal, people, provider
from collector.store.canonical import Json
from collector.store.database import write
from collector.store.people import Account


def add(engine: sa.Engine, name: str, roles: Collection[str], *, who: str, clock: ServiceClock) -> str:
    """Make an account, without a password.

    Parameters
    ----------
    engine : Engine
    name : str
        As the journal will name the person.
    roles : collection of str
        Of operator, technician, quality and admin.
    who : str
        An admin.
    clock : ServiceClock

    Returns
    -------
    str
        A one-time code with which the person chooses a password.

    Raises
    ------
    NotAllowed
        Nobody is named, the name or a role is none, there is such an account, or `who` is no admin.
    """
    _named(who)
    name, chosen = codes.check_name(name), _roles(roles)
    with write(engine) as conn:
        if people.account(conn, name) is not None:
            raise NotAllowed(f"there is an account {name} already; disabled ones can be enabled again")
        row = {"name": name, "roles": chosen, "created_at": clock.wall(), "created_by": str(who)}
        account_id = people.add_account(conn, row)
        _write_down(conn, name, "account added", who=who, clock=clock, after={"roles": chosen})
        return codes.give(conn, account_id, wall=clock.wall())


def set_roles(engine: sa.Engine, name: str, roles: Collection[str], *, who: str, clock: ServiceClock) -> None:
    """Change what an account may do, from this moment on.

    Raises
    ------
    NotAllowed
        As for :func:`add`; or no admin would be left.
    """
    _named(who)
    chosen = _roles(roles)
    with write(engine) as conn:
        account = _account(conn, name)
        # Written down before it is done: an admin may step back too, as long as another one stays.
        _write_down(
            conn, account.name, "account roles changed", who=who, clock=clock,
            before={"roles": account.roles}, after={"roles": chosen},
        )  # fmt: skip
        people.change_account(conn, account.id, {"roles": chosen})
        _admin_is_left(conn, account)


def disable(engine: sa.Engine, name: str, *, who: str, clock: ServiceClock, why: str | None = None) -> None:
    """Let an account do nothing any more, from this moment on, wherever it is signed in.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such account, it is disabled, no admin would be left, or `who` is none.
    """
    _named(who)
    with write(engine) as conn:
        account = _account(conn, name)
        if account.disabled_at is not None:
            raise NotAllowed(f"{account.name} is disabled already")
        _write_down(conn, account.name, "account disabled", who=who, clock=clock, why=why)
        people.change_account(conn, account.id, {"disabled_at": clock.wall()})
        people.end_sign_ins(conn, wall=clock.wall(), account_id=account.id)
        _admin_is_left(conn, account)


def enable(engine: sa.Engine, name: str, *, who: str, clock: ServiceClock) -> None:
    """Let a disabled account act again, with the password it had.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such account, it is not disabled, or `who` is no admin.
    """
    _named(who)
    with write(engine) as conn:
        account = _account(conn, name)
        if account.disabled_at is None:
            raise NotAllowed(f"{account.name} is not disabled")
        people.change_account(conn, account.id, {"disabled_at": None})
        _write_down(conn, account.name, "account enabled", who=who, clock=clock)


def give_code(engine: sa.Engine, name: str, *, who: str, clock: ServiceClock) -> str:
    """A one-time code for somebody who forgot the password; it works on until the code is used.

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such account, it is disabled, or `who` is no admin.
    """
    _named(who)
    with write(engine) as conn:
        account = _account(conn, name)
        if account.disabled_at is not None:
            raise NotAllowed(f"{account.name} is disabled; enable the account first")
        _write_down(conn, account.name, "account code given", who=who, clock=clock)
        return codes.give(conn, account.id, wall=clock.wall())


def link(engine: sa.Engine, name: str, *, issuer: str, subject: str, who: str, clock: ServiceClock) -> None:
    """Let an identity provider sign in an account that is there already.

    Parameters
    ----------
    engine : Engine
    name : str
        Of the account.
    issuer, subject : str
        The provider, and what it calls the person; it told them when they first came.
    who : str
        An admin.
    clock : ServiceClock

    Raises
    ------
    NotAllowed
        Nobody is named, there is no such account, the subject is another's, or `who` is no admin.
    """
    _named(who)
    with write(engine) as conn:
        account, taken = _account(conn, name), provider.account_of(conn, issuer, subject)
        if taken is not None and taken.id != account.id:
            raise NotAllowed(f"{subject!r} is linked with the account {taken.name} already")
        _write_down(conn, account.name, "account linked", who=who, clock=clock, after={"subject": subject})
        people.change_account(conn, account.id, {"provider_issuer": issuer, "provider_subject": subject})


def _named(who: str) -> None:
    if not who.strip():
        raise NotAllowed("say who does this: sign in as an admin")


def _roles(roles: Collection[str]) -> list[str]:
    unknown = sorted(set(roles) - set(ROLES))
    if unknown or not roles:
        raise NotAllowed(f"an account has one or more of the roles {', '.join(ROLES)}")
    return [role for role in ROLES if role in roles]


def _account(conn: sa.Connection, name: str) -> Account:
    account = people.account(conn, name)
    if account is None:
        raise NotAllowed(f"there is no account {name!r}; `evenrun people list` names those there are")
    return account


def _admin_is_left(conn: sa.Connection, changed: Account) -> None:
    """Refuse to take the last admin away; who was none takes none away, also where there is none."""
    if _is_admin(changed) and not any(map(_is_admin, people.all_accounts(conn))):
        raise NotAllowed("then nobody would be an admin; make somebody else one first")


def _is_admin(account: Account) -> bool:
    return "admin" in account.roles and account.disabled_at is None


def _write_down(
    conn: sa.Connection,
    name: str,
    action: str,
    *,
    who: str,
    clock: ServiceClock,
    before: Json = None,
    after: Json = None,
    why: str | None = None,
) -> None:
    journal.append(
        conn, at=clock.now(), wall_at=clock.wall(), who=who, action=action, subject=f"account {name}",
        before=before, after=after, why=why,
    )  # fmt: skip
