"""How often a secret may be guessed: pure arithmetic over the attempts of the last hours.

Five wrong passwords of one name within a quarter of an hour shut that name out until a quarter of an hour
after the last of them, and twenty from one address shut out the address; both end by themselves. PINs are
counted apart, and are short, so twenty wrong ones with neither a right PIN nor a right password in between
switch the PIN off.
OWASP ASVS 4.0.3, 2.2.1 allows at most 100 failures an hour and account (from memory); this is 20.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from collector.contract.figures import counted

Kind = Literal["password", "pin", "code"]

WINDOW = timedelta(minutes=15)
PER_NAME = 5
PER_ADDRESS = 20
PINS_UNTIL_OFF = 20


@dataclass(frozen=True, slots=True)
class Attempt:
    """One guess, right or wrong."""

    at: datetime
    kind: Kind
    worked: bool


def refusal(
    of_name: Sequence[Attempt], wrong_from_address: Sequence[datetime], kind: Kind, *, now: datetime
) -> str | None:
    """Why another guess is not looked at now, in one sentence; None when it is.

    Parameters
    ----------
    of_name : sequence of Attempt
        Attempts of this kind for the same name, and the right ones of any, newest first.
    wrong_from_address : sequence of datetime
        Wrong attempts from the same address, newest first.
    kind : {'password', 'pin', 'code'}
        What is to be tried now.
    now : datetime
        Wall time.
    """
    if kind == "pin" and _pins_since_success(of_name) >= PINS_UNTIL_OFF:
        return "too many wrong PINs: this one is off until you sign in with your password"
    wrong = [each.at for each in of_name if each.kind == kind and not each.worked]
    until = max(_shut_until(wrong, PER_NAME, now), _shut_until(wrong_from_address, PER_ADDRESS, now))
    if until <= now:
        return None
    minutes = -(-(until - now) // timedelta(minutes=1))
    return f"too many wrong attempts; try again in {counted(minutes, 'minute')}"


def left_words(
    of_name: Sequence[Attempt], wrong_from_address: Sequence[datetime], kind: Kind, *, now: datetime
) -> str:
    """What to say with a guess that was wrong: how many more are looked at, or for how long none is.

    Parameters as in :func:`refusal`; the guess itself is the newest of both. It says nothing of whether there
    is such an account: guesses at any name are counted alike.
    """
    refused = refusal(of_name, wrong_from_address, kind, now=now)
    if refused:
        return refused
    wrong = [each.at for each in of_name if each.kind == kind and not each.worked]
    left = [PER_NAME - len(_recent(wrong, now)), PER_ADDRESS - len(_recent(wrong_from_address, now))]
    if kind == "pin":
        left.append(PINS_UNTIL_OFF - _pins_since_success(of_name))
    return "one more try is left" if min(left) == 1 else f"{min(left)} more tries are left"


def _shut_until(wrong: Sequence[datetime], allowed: int, now: datetime) -> datetime:
    """When the next guess is looked at: from the last wrong one on, when there were too many before it."""
    recent = _recent(wrong, now)
    return now if len(recent) < allowed else recent[0] + WINDOW


def _recent(wrong: Sequence[datetime], now: datetime) -> list[datetime]:
    # What lies farther ahead is of before the wall clock was set back, and shuts nobody out until then.
    return [at for at in wrong if abs(now - at) < WINDOW]


def _pins_since_success(attempts: Sequence[Attempt]) -> int:
    count = 0
    for each in attempts:
        if each.worked and each.kind in ("password", "pin"):
            break
        count += each.kind == "pin"
    return count
