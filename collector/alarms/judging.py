"""What an alarm is about, from the stored values: what moved, since when, and what that is often seen with.

An alarm is judged when a signal of it can change the answer: at each batch with one of its first few
signaling shots, then as their number doubles, when another characteristic joins, and when its values come
into doubt (`collector.alarms.working`); one of the recipe also when one of the process beside it is. A batch
without a signal asks nothing. The values are read once, as arrays, and only where values say something: not
for doubts about the data.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from collector.alarms import change, evidence, turning
from collector.alarms.change import Change
from collector.alarms.diagnosis import LOOKED_BACK, Matter, causes_of, spoken_of
from collector.alarms.headline import headline
from collector.alarms.model import Moved
from collector.alarms.working import Working, said_of
from collector.store import newest as newest_shots
from collector.store.newest import Newest


def judge(
    conn: sa.Connection,
    press_id: int,
    alarm: Working,
    *,
    since_shot_id: int | None,
    others: Sequence[Working] = (),
) -> dict[str, Any]:
    """Judge an alarm whose row and signals are written, and bring it up to what was found.

    Parameters
    ----------
    conn : Connection
    press_id : int
    alarm : Working
        Takes the headline, the dates and the levels of what moved.
    since_shot_id : int or None
        First shot since the charts last started anew; no change is dated across it.
    others : sequence of Working
        Alarms of the press in hand; what they say of the same shots no cause of this one may contradict.

    Returns
    -------
    dict
        Columns of the alarm's row to write.
    """
    assert alarm.row_id is not None  # it has been saved
    facts = evidence.signaled(conn, alarm.row_id)
    known = evidence.baselines(conn, facts.values())
    around = _around(conn, alarm)
    newest = _newest(conn, press_id, [key for key, fact in facts.items() if fact.limits_id in known], around)
    series = evidence.series(conn, press_id, facts.values(), newest, known=known, since_shot_id=since_shot_id)
    changes = {one.key: change.judge(one) for one in series}
    recipe = evidence.recipe_setpoints(conn, alarm.run_id) if alarm.kind == "recipe" else {}
    turned = {one.key: turning.turned(one, changes[one.key]) for one in series}
    # A characteristic whose signals a replay withdrew keeps what was said about it.
    for key, fact in facts.items():
        if key in alarm.moved:
            level = _level(alarm.moved[key], changes.get(key), recipe.get(key), fact)
            alarm.level(replace(level, turned_shot_id=turned.get(key)))
    alarm.say(headline(alarm.kind, list(alarm.moved.values())))
    _date(conn, press_id, alarm, changes, since_shot_id)
    matter = _matter(press_id, alarm, facts.values())
    matter = replace(matter, elsewhere=said_of(
        [each for each in others if each is not alarm], matter.low_shot_id, matter.last_shot_id
    ))
    return {
        "headline": alarm.headline,
        "characteristics": alarm.characteristics(),
        "change_shot_id": alarm.change_shot_id,
        "change_low_shot_id": alarm.change_low_shot_id,
        "change_high_shot_id": alarm.change_high_shot_id,
        "causes": causes_of(conn, matter, facts.values(), newest, around),
    }


def _around(conn: sa.Connection, alarm: Working) -> list[str]:
    """What the causes are told apart by: what the last shot that signaled reported."""
    if alarm.kind == "data" or alarm.last_shot_id is None:
        return []
    return spoken_of(evidence.reported(conn, alarm.last_shot_id))


def _newest(conn: sa.Connection, press_id: int, charted: Sequence[str], around: Sequence[str]) -> Newest:
    return newest_shots.read(
        conn, press_id, keys=list(dict.fromkeys((*charted, *around))),
        phases=evidence.CHARTED, last=change.WINDOW_SHOTS if charted else LOOKED_BACK,
    )  # fmt: skip


def _date(
    conn: sa.Connection,
    press_id: int,
    alarm: Working,
    changes: dict[str, Change],
    since_shot_id: int | None,
) -> None:
    """When it began; an alarm that was there before the charts started anew keeps its older date."""
    dated = alarm.change_shot_id
    if dated is not None and since_shot_id is not None and dated < since_shot_id:
        return
    first = change.earliest(_leading(changes))
    if first is None:
        assert alarm.row_id is not None  # it has been saved
        assert alarm.first_shot_id is not None  # it began with a signal
        began = evidence.first_of_run(conn, press_id, alarm_id=alarm.row_id, shot_id=alarm.first_shot_id)
        alarm.change_shot_id = alarm.change_low_shot_id = began
        alarm.change_high_shot_id = alarm.first_shot_id
        return
    alarm.change_shot_id = first.shot_id
    alarm.change_low_shot_id, alarm.change_high_shot_id = first.low_shot_id, first.high_shot_id


def _leading(changes: dict[str, Change]) -> list[Change]:
    """A single bad shot does not date a lasting change of something else."""
    lasting = [one for one in changes.values() if not one.single]
    return lasting or list(changes.values())


def _level(item: Moved, found: Change | None, recipe: float | None, fact: evidence.Signaled) -> Moved:
    if found is None:
        return replace(item, before=item.before if recipe is None else recipe, single=False)
    shots = len(fact.far_out) if found.single else item.shots
    before = found.before if recipe is None else recipe
    return replace(item, single=found.single, before=before, after=found.after, shots=shots)


def _matter(press_id: int, alarm: Working, facts: Iterable[evidence.Signaled]) -> Matter:
    assert alarm.first_shot_id is not None  # an alarm begins with a signal
    first = alarm.change_shot_id or alarm.first_shot_id
    return Matter(
        press_id=press_id, kind=alarm.kind, moved=tuple(alarm.moved.values()), single=alarm.single,
        low_shot_id=alarm.change_low_shot_id or first, first_shot_id=first,
        high_shot_id=alarm.change_high_shot_id or first, last_shot_id=alarm.last_shot_id or first,
        bad_shots=frozenset(shot for fact in facts for shot in fact.far_out),
    )  # fmt: skip
