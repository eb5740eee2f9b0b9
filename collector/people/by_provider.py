"""Signing in by the word of an identity provider: who that is here, and what they may do.

Roles come from the provider's groups at each sign-in. Somebody new with a role gets an account; somebody
without one is refused and made nothing of. An account that is there already is taken over by nobody who
merely has the same name: the terminal links it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from shlex import quote
from typing import Any

import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.people import codes, secret, sign_in
from collector.people.person import SERVICE, Person
from collector.people.roles import ROLES
from collector.settings_oidc import Oidc
from collector.store import journal, people, provider
from collector.store.canonical import Json
from collector.store.database import write
from collector.store.people import Account

KIND = "provider"


@dataclass(frozen=True, slots=True)
class Identity:
    """Somebody, as the provider knows them, with the roles that their groups give."""

    issuer: str
    subject: str
    name: str
    roles: list[str]


def identity(claims: Mapping[str, Any], settings: Oidc) -> Identity:
    """Who verified claims speak of.

    Raises
    ------
    NotAllowed
        They give no name that the journal could write.
    """
    name = claims.get(settings.name_claim)
    if not isinstance(name, str) or not name.strip():
        raise NotAllowed(
            f"the identity provider gives no name for you (claim {settings.name_claim}); "
            "people.oidc.name_claim says which claim is the name"
        )
    groups = claims.get(settings.roles_claim)
    listed = [groups] if isinstance(groups, str) else groups if isinstance(groups, list) else []
    given = {role for group in listed if isinstance(group, str) for role in settings.roles.get(group, ())}
    ordered: list[str] = [role for role in ROLES if role in given]
    return Identity(str(claims["iss"]), str(claims["sub"]), codes.check_name(name), ordered)


def use_state(engine: sa.Engine, state: str, *, expires_at: datetime, wall: datetime) -> None:
    """Use up the state of a sign-in that comes back.

    Raises
    ------
    NotAllowed
        It was used before.
    """
    with write(engine) as conn:
        if not provider.use_state(conn, secret.digest(state), expires_at=expires_at, wall=wall):
            raise NotAllowed("this sign-in was used already; begin again")


def begin(engine: sa.Engine, who: Identity, *, address: str, clock: ServiceClock, lasts: timedelta) -> Person:
    """Sign somebody in whom the provider vouches for.

    Parameters
    ----------
    engine : Engine
    who : Identity
        Of an ID token that was verified.
    address : str
        Where it came from.
    clock : ServiceClock
    lasts : timedelta
        When the sign-in ends by itself.

    Raises
    ------
    NotAllowed
        The account is disabled, belongs to somebody else, or their groups give no role here.
    """
    with write(engine) as conn:
        account = provider.account_of(conn, who.issuer, who.subject)
        account = _made(conn, who, clock) if account is None else _with_roles(conn, account, who, clock)
    if not account.roles:  # only now: that the roles are gone must stay written
        raise _no_role(account.name)
    return sign_in.begin(engine, account, KIND, address=address, wall=clock.wall(), lasts=lasts)


def _made(conn: sa.Connection, who: Identity, clock: ServiceClock) -> Account:
    if people.account(conn, who.name) is not None:
        raise NotAllowed(
            f"there is an account {who.name} already that is not linked with the identity provider; on the "
            f"computer of the screens: evenrun people link {quote(who.name)} --subject {quote(who.subject)}"
        )
    if not who.roles:
        raise _no_role(who.name)
    row = {
        "name": who.name, "roles": who.roles, "created_at": clock.wall(), "created_by": SERVICE,
        "provider_issuer": who.issuer, "provider_subject": who.subject,
    }  # fmt: skip
    number = people.add_account(conn, row)
    _write_down(conn, who.name, "account added by provider", clock, after={"roles": [*who.roles]})
    made = people.account_by_id(conn, number)
    assert made is not None  # written a moment ago
    return made


def _with_roles(conn: sa.Connection, account: Account, who: Identity, clock: ServiceClock) -> Account:
    if account.disabled_at is not None:
        raise NotAllowed(f"the account {account.name} is disabled; an admin can enable it")
    if account.roles == who.roles:
        return account
    people.change_account(conn, account.id, {"roles": who.roles})
    if not who.roles:
        people.end_sign_ins(conn, wall=clock.wall(), account_id=account.id)
    _write_down(
        conn, account.name, "account roles by provider", clock,
        before={"roles": [*account.roles]}, after={"roles": [*who.roles]},
    )  # fmt: skip
    return replace(account, roles=who.roles)


def _no_role(name: str) -> NotAllowed:
    return NotAllowed(
        f"{name} has no role here; who looks after the identity provider adds you to a group that has one"
    )


def _write_down(
    conn: sa.Connection,
    name: str,
    action: str,
    clock: ServiceClock,
    *,
    before: Json = None,
    after: Json = None,
) -> None:
    journal.append(
        conn, at=clock.now(), wall_at=clock.wall(), who=SERVICE, action=action, subject=f"account {name}",
        before=before, after=after,
    )  # fmt: skip
