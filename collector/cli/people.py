"""`evenrun people`: accounts, from the terminal of the computer that holds the store."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import sqlalchemy as sa
import typer
from rich.console import Console
from rich.table import Table

from collector.actions import people as act
from collector.cli.moments import minute
from collector.cli.terminal import acting
from collector.errors import UserError
from collector.people.roles import ROLES
from collector.service import service_clock
from collector.settings import load_settings
from collector.store import database
from collector.store import people as accounts
from collector.store.people import Account


class What(StrEnum):
    """What to do."""

    LIST = "list"
    ADD = "add"
    ROLE = "role"
    DISABLE = "disable"
    ENABLE = "enable"
    RESET = "reset"
    LINK = "link"


def people(
    what: Annotated[What, typer.Argument(help="list, add, role, disable, enable, reset or link")] = What.LIST,
    name: Annotated[str | None, typer.Argument(help="whose account, such as 'operator 1'")] = None,
    role: Annotated[
        list[str] | None, typer.Option(help=f"one of {', '.join(ROLES)}; give it once for each role")
    ] = None,
    subject: Annotated[
        str | None, typer.Option(help="for link: what the identity provider calls the person (claim sub)")
    ] = None,
) -> None:
    """Look after accounts without signing in: whoever may run this on the store's computer may do it.

    add NAME --role ROLE and reset NAME print a one-time code with which the person chooses a password on the
    screens, at /code. role NAME --role ROLE replaces the roles. link NAME --subject TEXT lets the
    identity provider of the settings sign that account in. Accounts are disabled, never deleted, since the
    journal names them. From the first account on, nothing can be done on the screens without one.
    """
    engine = database.open_existing(load_settings().database_url)
    try:
        if what is What.LIST:
            _list(engine)
        elif name is None:
            raise UserError(f"say whose account: evenrun people {what} NAME")
        else:
            _do(engine, what, name, role or [], subject)
    finally:
        engine.dispose()


def _do(engine: sa.Engine, what: What, name: str, roles: list[str], subject: str | None) -> None:
    who, clock = acting(engine, ""), service_clock(engine)
    match what:
        case What.ADD:
            _say_code(name, act.add(engine, name, roles, who=who, clock=clock))
            _say_if_first(engine)
        case What.RESET:
            _say_code(name, act.give_code(engine, name, who=who, clock=clock))
        case What.ROLE:
            act.set_roles(engine, name, roles, who=who, clock=clock)
            typer.echo(f"{name} is {', '.join(roles)} from now on.")
        case What.DISABLE:
            act.disable(engine, name, who=who, clock=clock)
            typer.echo(f"{name} can do nothing from now on.")
        case What.ENABLE:
            act.enable(engine, name, who=who, clock=clock)
            typer.echo(f"{name} may act again.")
        case What.LINK:
            issuer = _provider()
            if not subject:
                raise UserError(
                    f"say what the provider calls them: evenrun people link '{name}' --subject TEXT"
                )
            act.link(engine, name, issuer=issuer, subject=subject, who=who, clock=clock)
            typer.echo(f"{name} signs in at {issuer} from now on; roles come from there.")


def _provider() -> str:
    issuer = load_settings().people.oidc.issuer
    if issuer is None:
        raise UserError("there is no identity provider in the settings; set people.oidc.issuer first")
    return issuer


def _say_code(name: str, code: str) -> None:
    typer.echo(f"{name} opens /code on the screens and enters this code, within two days: {code}")


def _say_if_first(engine: sa.Engine) -> None:
    """Where people chose names until now, the first account ends that."""
    with database.read(engine) as conn:
        first = len(accounts.all_accounts(conn)) == 1
    if first and load_settings().people.sign_in == "names":
        typer.echo(
            "This is the first account: from now on nothing is done under a chosen name any more. In a demo "
            "its invented people have no account, so they answer no alarm and decide about no hold."
        )


def _list(engine: sa.Engine) -> None:
    with database.read(engine) as conn:
        found, last = accounts.all_accounts(conn), accounts.last_sign_ins(conn)
    if not found:
        typer.echo("Nobody has an account yet: evenrun people add NAME --role admin")
        return
    table = Table("Name", "Roles", "State", "Last signed in", box=None)
    for each in found:
        state = "disabled" if each.disabled_at else _signs_in(each)
        seen = minute(last[each.id]) if each.id in last else "never"
        table.add_row(each.name, ", ".join(each.roles), state, seen)
    Console().print(table)


def _signs_in(account: Account) -> str:
    if account.provider_subject is not None:
        return "active, by the identity provider"
    return "active" if account.password_hash else "no password yet"
