"""Approve limits: what a phase I study of a run proposes, signed by a person.

The service never does this by itself. Approved limits belong to a context (press, mold, blend, color, recipe
version) and hold from the next shot on; the versions before them are retired, not deleted. What a study can
only suggest, such as a band for a characteristic that wanders, is put in force when a person confirms it;
until then whatever limits there are stay as they are.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from collector.actions.limits_confirmed import Confirmed, as_confirmed
from collector.actions.limits_replaced import Change, check_replacing, says_the_same
from collector.actions.limits_steady import Steady, read_steady
from collector.actions.limits_study import SHIFTS_PER_DAY, Proposed, propose_key
from collector.clock import ServiceClock
from collector.errors import NotAllowed
from collector.plan import KeyLimits
from collector.store import database, journal, limits, restarts
from collector.verdict import Policy


def approve(
    engine: sa.Engine,
    steady: Steady,
    proposals: Sequence[Proposed],
    *,
    who: str,
    why: str,
    clock: ServiceClock,
    confirmed: Mapping[str, Confirmed] | None = None,
    change: Change | None = None,
) -> list[KeyLimits]:
    """Put the proposals of a study in force, as they were shown.

    Parameters
    ----------
    engine : Engine
    steady : Steady
        What was studied.
    proposals : sequence of Proposed
        Of that study, those that are to be approved.
    who, why : str
        Who approves, and for which reason; both go to the journal.
    clock : ServiceClock
    confirmed : mapping of str to Confirmed, optional
        By key. A proposal that must be confirmed and is not stays out; its limits stay as they are.
    change : Change, optional
        Needed where approved limits are in force and the process is another one now: limits that only rest on
        more shots of the same process need none.

    Returns
    -------
    list of KeyLimits
        What is in force from the next shot on, without what was in force as it is.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, nothing can be approved, limits that were entered are none, all of them
        are in force already, or approved limits would be replaced without a change that is known, intended,
        lasting, and seen in enough shots.
    """
    if not (who.strip() and why.strip()):
        raise NotAllowed("approving limits needs a name and a reason; say who approves, and why this run")
    agreed = confirmed or {}
    chosen = {
        each.key: each for each in proposals if each.limits and (not each.to_confirm or each.key in agreed)
    }
    if not chosen:
        raise NotAllowed(
            "nothing here can be approved yet; confirm what must be confirmed, or choose another run"
        )
    made = [_made(each, agreed.get(each.key), steady, who) for each in chosen.values()]
    _share_cost(made)
    with database.write(engine) as conn:
        replaced = limits.approved(conn, steady.press_id, steady.context)
        made = [new for new in made if new.key not in replaced or not says_the_same(new, replaced[new.key])]
        if not made:
            raise NotAllowed("these limits are in force already, equal in every number; nothing was changed")
        check_replacing(made, replaced, change)
        for new in made:
            limits.retire(conn, steady.press_id, steady.context, new.key, at=clock.now())
            limits.insert(
                conn, steady.press_id, new, context=steady.context, run_id=None, from_shot_id=None,
                at=clock.now(), reason=why,
            )  # fmt: skip
        restarts.ask(conn, steady.press_id, at=clock.now(), who=who, why=f"limits approved: {why}")
        journal.append(
            conn, at=clock.now(), wall_at=clock.wall(), who=who, action="approve limits",
            subject=f"run {steady.run_id}", why=why if change is None else f"{why}; {change.cause}",
            before={key: old.id for key, old in replaced.items() if any(new.key == key for new in made)},
            after={new.key: _journaled(new) for new in made},
        )  # fmt: skip
    return made


def retire(engine: sa.Engine, limits_id: int, *, who: str, why: str, clock: ServiceClock) -> None:
    """Take approved limits out of force; the next shots make provisional ones again.

    Raises
    ------
    NotAllowed
        Nobody or no reason is named, or these limits are not approved and in force.
    """
    if not (who.strip() and why.strip()):
        raise NotAllowed("retiring limits needs a name and a reason")
    with database.write(engine) as conn:
        row = limits.approved_row(conn, limits_id)
        if row is None:
            raise NotAllowed("these limits are not in force any more; reload the page")
        now = clock.now()
        limits.retire(conn, row.press_id, row.context, row.key, at=now)
        restarts.ask(conn, row.press_id, at=now, who=who, why=f"limits retired: {why}")
        journal.append(
            conn, at=now, wall_at=clock.wall(), who=who, action="retire limits",
            subject=f"limits {limits_id}", why=why,
            before={"key": row.key, "version": row.version, "context": row.context},
        )  # fmt: skip


def approve_from_run(
    engine: sa.Engine,
    run_id: int,
    *,
    policy: Policy,
    who: str,
    why: str,
    clock: ServiceClock,
    left_out: Mapping[str, Collection[int]] | None = None,
    confirmed: Mapping[str, Confirmed] | None = None,
    change: Change | None = None,
) -> list[KeyLimits]:
    """Study every charted characteristic of a run and put its limits in force.

    Parameters
    ----------
    engine : Engine
    run_id : int
        The run whose steady shots are the baseline.
    policy : Policy
        Which characteristics are charted, and the false-alarm budget.
    who, why, clock, confirmed, change
        As in :func:`approve`.
    left_out : mapping of str to collection of int, optional
        Ids of shots that the person leaves out of the baseline of a characteristic.

    Raises
    ------
    NotAllowed
        As :func:`approve`, or the run has fewer than 25 steady shots of every characteristic.
    """
    with database.read(engine) as conn:
        steady = read_steady(conn, run_id, policy)
    proposals = [propose_key(steady, key, left_out=(left_out or {}).get(key, ())) for key in steady.keys]
    return approve(
        engine, steady, proposals, who=who, why=why, clock=clock, confirmed=confirmed, change=change
    )


def in_force_already(
    proposals: Sequence[Proposed],
    steady: Steady,
    approved: Mapping[str, KeyLimits],
    confirmed: Mapping[str, Confirmed] | None = None,
) -> list[str]:
    """Keys of proposals that say what approved limits of their context say already.

    Parameters
    ----------
    proposals, steady, confirmed
        As in :func:`approve`.
    approved : mapping of str to KeyLimits
        In force, by key.
    """
    agreed = confirmed or {}
    ready = (each for each in proposals if each.limits and each.key in approved)
    return [
        each.key
        for each in ready
        if says_the_same(_made(each, agreed.get(each.key), steady, who=""), approved[each.key])
    ]


def _made(each: Proposed, agreed: Confirmed | None, steady: Steady, who: str) -> KeyLimits:
    assert each.limits is not None
    made = replace(each.limits, approved_by=who, cost={**each.limits.cost, "study": _study(each, steady)})
    return made if agreed is None else as_confirmed(made, agreed, each.proposal.kind)


def _study(each: Proposed, steady: Steady) -> dict[str, Any]:
    """What the limits rest on, for whoever asks later."""
    ids = steady.frame["id"]
    return {
        "run_id": steady.run_id, "from_shot_id": int(ids.iloc[0]), "to_shot_id": int(ids.iloc[-1]),
        "left_out": list(each.left_out), "why": each.proposal.why,
    }  # fmt: skip


def _share_cost(made: Sequence[KeyLimits]) -> None:
    """False alarms of all these charts together, with each of them: what the press may expect."""
    per_shift = math.fsum(float(new.cost.get("own_false_alarms_per_shift", 0.0)) for new in made)
    for new in made:
        total = {"false_alarms_per_shift": per_shift, "false_alarms_per_day": SHIFTS_PER_DAY * per_shift}
        new.cost = {**new.cost, **total}


def _journaled(new: KeyLimits) -> dict[str, Any]:
    entry = {"limits": new.id, **new.baseline.to_dict(), "charts": new.charts_json()}
    entry["left_out"] = new.cost["study"]["left_out"]
    if "confirmed" in new.cost:
        entry["confirmed"] = new.cost["confirmed"]
    return entry
