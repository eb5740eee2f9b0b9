"""The values of one shot, or of many, without those in doubt; and the signals of the doubts. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from collector.contract import quantities
from collector.contract.shot import Shot
from collector.data_checks.look import WITNESSES, Doubt, Known, cut_off, is_contradicted, look
from collector.data_checks.rows import Looked, look_at_rows
from collector.shot_table import table_of
from collector.verdict import Signal
from rules.habit import Habit

KIND = "data"
_NO_SIDE = ("stuck", "coarse")

Data = Mapping[str, Known]


def look_at(data: Data, shot: Shot, charted: Iterable[str]) -> tuple[Data, Shot, list[Signal]]:
    """Look at every value of a shot that is known or charted.

    Parameters
    ----------
    data : mapping of str to Known
        After the shot before.
    shot : Shot
    charted : iterable of str
        Keys that have a chart, though the table of quantities may not know them.

    Returns
    -------
    data : mapping of str to Known
    shot : Shot
        Without the values in doubt.
    signals : list of Signal
        One a value in doubt.
    """
    after, doubted, signals = dict(data), set[str](), list[Signal]()
    doubt: Doubt | None
    for key in checked(shot, charted):
        value = shot.values[key]
        if math.isnan(value):
            continue
        if is_contradicted(key, shot.values, data):
            after[key], doubt = cut_off(data[key])
        else:
            after[key], doubt = look(key, value, data.get(key) or Known())
        if doubt is not None:
            doubted.add(key)
            signals.append(signal(key, value, doubt))
    return after, without(shot, doubted), signals


def look_at_late(data: Data, shot: Shot, charted: Iterable[str]) -> list[Signal]:
    """Doubts of a straggler, as far as one value shows them; out of its order, it teaches nothing."""
    return [each for each in look_at(data, shot, charted)[2] if each.rule not in _NO_SIDE]


def look_at_all(data: Data, shots: Sequence[Shot], charted: Iterable[str]) -> Looked:
    """The same for shots that all have the same keys, as far as nothing comes into doubt or out of it."""
    keys = checked(shots[0], charted)
    if not keys:
        return Looked(len(shots), data, {})
    table = table_of(shots, keys)
    # A missing value, or a zero that others may contradict, is looked at with the rest of its shot.
    witnessed = np.array([key in WITNESSES for key in keys], dtype=bool)
    alone = np.flatnonzero((np.isnan(table) | ((table == 0) & witnessed)).any(axis=1))
    table = table[: alone[0]] if len(alone) else table
    return look_at_rows(data, keys, table) if len(table) else Looked(0, data, {})


def signals_of(looked: Looked, shots: Sequence[Shot]) -> list[tuple[Signal, ...]]:
    """The signals of each shot of a stretch, in the order of its keys."""
    if not looked.doubts:
        return [()] * len(shots)
    keys = [key for key in shots[0].values if key in looked.doubts]
    return [
        tuple(signal(key, shot.values[key], looked.doubts[key][row]) for key in keys)
        for row, shot in enumerate(shots)
    ]


def checked(shot: Shot, charted: Iterable[str]) -> list[str]:
    """Keys of a shot that are looked at: a sender that invents keys must not fill the memory."""
    kept = set(charted)
    return [key for key in shot.values if key in kept or quantities.find(key) is not None]


def in_doubt(data: Data) -> frozenset[str]:
    """Keys whose last value was in doubt."""
    return frozenset(key for key, each in data.items() if each.rule is not None)


def without(shot: Shot, keys: Iterable[str]) -> Shot:
    """The shot without some of its values."""
    left_out = set(keys)
    if not left_out:
        return shot
    return shot._replace(values={key: value for key, value in shot.values.items() if key not in left_out})


def signal(key: str, value: float, doubt: Doubt) -> Signal:
    """What a doubt says about one shot."""
    direction = 0
    if doubt.rule not in _NO_SIDE and doubt.usual is not None:
        direction = (value > doubt.usual) - (value < doubt.usual)
    run = doubt.run if doubt.rule in _NO_SIDE else None
    # The first of readings that repeat is no repeat itself, but one of the shots.
    points = 1 if run is None else int(run) + (doubt.rule == "stuck")
    return Signal(
        kind=KIND, key=key, chart=None, rule=doubt.rule, direction=direction, value=value,
        statistic=doubt.usual if run is None else run, share=None, points=points,
        limits=None,
    )


def dump(data: Data) -> dict[str, Any]:
    """What is known as JSON."""
    return {
        key: [
            list(each.recent), each.last, list(each.repeats), list(each.rounds), each.decimals, each.jump,
            each.rule,
        ]
        for key, each in data.items()
    }  # fmt: skip


def load(stored: Mapping[str, Any]) -> dict[str, Known]:
    """Rebuild what :func:`dump` wrote."""
    return {
        key: Known(tuple(recent), last, Habit(*repeats), Habit(*rounds), decimals, jump, rule)
        for key, (recent, last, repeats, rounds, decimals, jump, rule) in stored.items()
    }
