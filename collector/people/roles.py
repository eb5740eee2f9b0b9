"""Which act needs which role: one table.

An act is named as the journal names it. What is not in the table nobody but the service may do. Roles stand
side by side: an admin looks after accounts and releases nothing, unless the account has that role too.
Separation of who raises, who decides and who gives rights: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["operator", "technician", "quality", "admin"]
ROLES: tuple[Role, ...] = get_args(Role)

ANYBODY: tuple[Role, ...] = ("operator", "technician", "quality")
SKILLED: tuple[Role, ...] = ("technician", "quality")
TECHNICIAN: tuple[Role, ...] = ("technician",)
ADMIN: tuple[Role, ...] = ("admin",)


@dataclass(frozen=True, slots=True)
class Act:
    """Who may do something.

    Attributes
    ----------
    roles : tuple of str
        An account needs one of them. Empty: only the service does it.
    pin : bool
        Whether name and PIN at a shared tablet are enough; otherwise only a sign-in with the password is.
    service : bool
        Whether the service does it too, by itself.
    """

    roles: tuple[Role, ...]
    pin: bool = True
    service: bool = False


ACTS: dict[str, Act] = {
    # at the press
    "alarm acknowledge": Act(ANYBODY),
    "hold open": Act(ANYBODY),
    "gauging entered": Act(ANYBODY),
    "gauging withdrawn": Act(ANYBODY),
    "gauging order shifted": Act(ANYBODY),
    # deciding
    "alarm close": Act(TECHNICIAN),
    "hold released": Act(SKILLED),
    "hold scrapped": Act(SKILLED),
    "hold sorted": Act(SKILLED),
    "hold reopened": Act(SKILLED),
    # keeping an alarm quiet
    "alarm shelve": Act(TECHNICIAN),
    "alarm unshelve": Act(TECHNICIAN, service=True),
    "out of service": Act(TECHNICIAN),
    "back in service": Act(TECHNICIAN),
    "alarm take_out": Act(TECHNICIAN),
    "alarm put_back": Act(TECHNICIAN),
    # what the charts rest on: never by PIN alone
    "approve limits": Act(SKILLED, pin=False),
    "retire limits": Act(SKILLED, pin=False),
    "first shot approved": Act(SKILLED),
    "qualify recipe": Act(SKILLED, pin=False),
    # what came in
    "run opened": Act(ANYBODY),
    "run closed": Act(ANYBODY),
    "gap closed": Act(SKILLED),
    "import undone": Act(SKILLED, pin=False),
    "import run named": Act(SKILLED),
    # what the store keeps
    "move values of run to file": Act((*SKILLED, "admin"), pin=False, service=True),
    "restore values of run": Act((*SKILLED, "admin"), pin=False),
    # the service itself
    "maintenance entered": Act(ANYBODY),
    "refusals replayed": Act(TECHNICIAN),
    "refusals put aside": Act(SKILLED),
    "channel tested": Act((*SKILLED, "admin")),
    "channel on": Act((*SKILLED, "admin")),
    "channel off": Act((), service=True),
    # people
    "account added": Act(ADMIN, pin=False),
    "account roles changed": Act(ADMIN, pin=False),
    "account disabled": Act(ADMIN, pin=False),
    "account enabled": Act(ADMIN, pin=False),
    "account code given": Act(ADMIN, pin=False),
    "account linked": Act(ADMIN, pin=False),
    "account added by provider": Act((), pin=False, service=True),
    "account roles by provider": Act((), pin=False, service=True),
    "first admin": Act((), service=True),
    "password chosen": Act(ROLES, pin=False, service=True),
    "PIN chosen": Act(ROLES, pin=False, service=True),
    # the service's own
    "seal": Act((), service=True),
    "alarms opened": Act((), service=True),
}


def refusal(action: str, roles: Collection[str], *, by_pin: bool) -> str | None:
    """What somebody with these roles lacks for an act, in words; None when they may do it.

    Parameters
    ----------
    action : str
        As the journal names it.
    roles : collection of str
        Of the account.
    by_pin : bool
        Whether the sign-in rests on a PIN alone.
    """
    act = ACTS.get(action)
    if act is None or not set(act.roles) & set(roles):
        return f"it needs the role {words(act.roles) if act is not None and act.roles else 'no role'}"
    if by_pin and not act.pin:
        return "it needs more than a PIN; sign in with the password"
    return None


def words(roles: tuple[Role, ...]) -> str:
    """Roles as a sentence names them: ``technician or quality``."""
    return " or ".join((", ".join(roles[:-1]), roles[-1])) if len(roles) > 1 else "".join(roles)
