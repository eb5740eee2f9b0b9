"""Whoever acts by a command, as the journal names them.

Where there are accounts, a name is worth what it is worth on the screens: its password is asked for, and its
role decides. Without a name it is the terminal that acts, and the journal says of which computer and user:
whoever may run commands on the computer of the store may do everything to it anyway.
"""

from __future__ import annotations

import getpass
import os
import socket

import sqlalchemy as sa
import typer

from collector.clock import wall_now
from collector.errors import NotAllowed, UserError
from collector.people import sign_in
from collector.people.person import Person
from collector.store import database, people

try:
    import pwd
except ImportError:  # not on Windows
    pwd = None  # type: ignore[assignment]

WHO = "Who does it; where there are accounts, the password is asked for. Left out: this terminal."


def acting(engine: sa.Engine, who: str) -> Person:
    """Who acts: somebody who proves to be the account named, or this terminal.

    Where there are no accounts, a name is taken at its word.

    Raises
    ------
    NotAllowed
        The password is not that of the account.
    """
    with database.read(engine) as conn:
        enforced = people.is_enforced(conn)
    if enforced and who.strip():
        return _proven(engine, who.strip())
    with database.write(engine) as conn:
        token = sign_in.at_terminal(conn, wall=wall_now()).token
    return Person(who.strip() or place(), token)


def because(why: str, such_as: str) -> str:
    """The reason that was given for the journal, asked for by the name of its option.

    Raises
    ------
    UserError
        There is none.
    """
    if not why.strip():
        raise UserError(f'say why with --why, such as --why "{such_as}"')
    return why.strip()


def place() -> str:
    """This terminal, such as ``terminal of shop-pc as evenrun``."""
    return f"terminal of {socket.gethostname()} as {_user()}"


def _user() -> str:
    """As whom the command runs; not what an environment variable says, where the system knows better."""
    if pwd is None:
        return getpass.getuser()
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:  # a user without a name, as in a container
        return f"user {os.getuid()}"


def _proven(engine: sa.Engine, who: str) -> Person:
    password = typer.prompt(f"Password of {who}", hide_input=True, err=True)
    try:
        return sign_in.by_password(
            engine, who, password, address=place(), wall=wall_now(), lasts=sign_in.TERMINAL_FOR
        )
    except NotAllowed as error:
        raise NotAllowed(f"{error}; without --who, this terminal acts in its own name") from error
