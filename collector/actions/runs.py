"""Opening and closing a run by a person's form.

The run opens in the very transaction that writes the journal, through the same code as a run message, so the
next shot is judged under it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import sqlalchemy as sa

from collector.actions.doer import named
from collector.clock import Moment, ServiceClock
from collector.contract.messages import RunAction, RunMessage
from collector.errors import NotAllowed
from collector.press_state import PressState
from collector.press_turn import state_of, take_turn
from collector.store import database, journal, presses, runs
from collector.store.presses import PressRow
from collector.store.runs import FORM, RunRow
from collector.verdict import Policy

MOST_LETTERS = 100  # as in a message


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a person says of a run; what is not known stays None.

    A `trial` is made to learn what settings do: its shots are stored and shown, never charted.
    """

    mold: str | None = None
    blend: str | None = None
    lot: str | None = None
    color: str | None = None
    recipe: str | None = None
    recipe_version: int | None = None
    trial: bool | None = None


def open_run(
    engine: sa.Engine, press: str, name: str, told: Told, *, site: str, policy: Policy, who: str,
    clock: ServiceClock, why: str = "",
) -> None:
    """Open a run on a press, or say more of the one that is open: a new lot is an event of it.

    Parameters
    ----------
    engine : Engine
    press, site : str
        The press.
    name : str
        The run; the one that is open, or one that there never was on this press.
    told : Told
        What is made.
    policy : Policy
        What is charted, and how.
    who, why : str
        For the journal.
    clock : ServiceClock

    Raises
    ------
    NotAllowed
        Nobody is named, the press is not known, the name cannot be one, the run has ended, or it is a trial
        that would become none: its shots were judged by nothing.
    """
    named(who)
    name = _name(name)
    with database.write(engine) as conn:
        row, state, current = _press(conn, site, press)
        known = runs.by_name(conn, row.id, name)
        if known is not None and (current is None or known.id != current.id):
            raise NotAllowed(f"run {name} of {press} is over; give the run another name")
        if known is not None and known.trial and told.trial is False:
            raise NotAllowed(f"run {name} is a trial and stays one; open another run to be charted again")
        message = _message(row, name, "open", told, clock)
        _take(conn, row, state, message, policy=policy, clock=clock)
        after = runs.by_name(conn, row.id, name)
        assert after is not None  # it was opened just now
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="run opened",
            subject=f"run {name} of {press}", before=None if known is None else _words(known),
            after=_words(after), why=why.strip() or None,
        )


def close_run(
    engine: sa.Engine, press: str, *, site: str, policy: Policy, who: str, clock: ServiceClock, why: str = ""
) -> None:
    """Close the run that is open on a press; the next shot that names none opens another.

    Raises
    ------
    NotAllowed
        Nobody is named, the press is not known, or no run is open.
    """
    named(who)
    with database.write(engine) as conn:
        row, state, current = _press(conn, site, press)
        if current is None:
            raise NotAllowed(f"no run is open on {press}")
        message = _message(row, current.name, "close", Told(), clock)
        _take(conn, row, state, message, policy=policy, clock=clock)
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="run closed",
            subject=f"run {current.name} of {press}", before=_words(current), why=why.strip() or None,
        )


def _press(conn: sa.Connection, site: str, name: str) -> tuple[PressRow, PressState, RunRow | None]:
    row = presses.find(conn, site, name)
    if row is None:
        raise NotAllowed(f"no press {name} has reported yet")
    presses.lock(conn, row.id)
    state = state_of(conn, row.id)
    return row, state, None if state.run_id is None else runs.by_id(conn, state.run_id)


def _take(
    conn: sa.Connection, row: PressRow, state: PressState, message: RunMessage, *, policy: Policy,
    clock: ServiceClock,
) -> None:
    now = clock.now()
    # A press whose clock is ahead of ours has told of later times already.
    at = now if state.last is None else max(now, state.last.ended_at)
    moment = Moment(now, clock.wall(), clock.speed)
    take_turn(conn, row, state, [replace(message, at=at)], policy=policy, moment=moment)


def _message(row: PressRow, name: str, action: RunAction, told: Told, clock: ServiceClock) -> RunMessage:
    return RunMessage(
        site=row.site, press=row.name, at=clock.now(), run=name, action=action, received_at=clock.wall(),
        source=FORM, **(asdict(told) | {"trial": bool(told.trial)}),
    )


def _words(run: RunRow) -> dict[str, str | int | None]:
    return {
        "mold": run.mold, "blend": run.blend, "lot": run.lot, "color": run.color, "recipe": run.recipe,
        "recipe_version": run.recipe_version, "opened_by": run.opened_by, "trial": run.trial,
    }


def _name(name: str) -> str:
    name = name.strip()
    if not name or len(name) > MOST_LETTERS or not name.isprintable():
        raise NotAllowed(f"give the run a name of at most {MOST_LETTERS} printable letters, such as R-0412")
    return name
