"""Shots in a row that bring nothing but values, judged together. Pure.

While a press is steady, every characteristic has its limits, no setpoint moves and no counter is missing, the
values of many shots are one table for the charts (`rules.charts.panel`). The first shot that is anything else
ends the stretch; `collector.engine` judges that one by itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import repeat

import numpy as np

from collector import sense
from collector.charting import chart_signal, charted_keys
from collector.contract.shot import Shot
from collector.data_checks import signals as data_checks
from collector.data_checks.rows import Looked
from collector.identity import Identity, Last
from collector.press_state import CYCLES_KEPT, KeyState, PressState
from collector.setpoints import compare_setpoints, recipe_signals
from collector.shot_table import table_of
from collector.verdict import Policy, Signal, Verdict
from rules.charts.chart import FloatArray
from rules.charts.panel import PanelTrack, panel_of

_MICROSECOND_S = 1e-6

Names = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Shots that only move the charts.

    Attributes
    ----------
    shots : sequence of Shot
        One or more, without the values in doubt.
    names : tuple of str
        The characteristics that all of them have, in their order.
    cycles_s : list of float
        Cycle times before and in the stretch.
    last : Last
        Identity of its last shot.
    looked : Looked
        What the data checks made of its values.
    doubts : list of tuple of Signal
        Of each shot; the same keys all along.
    """

    shots: Sequence[Shot]
    names: Names
    cycles_s: list[float]
    last: Last
    looked: Looked
    doubts: list[tuple[Signal, ...]]


def find(
    state: PressState, shots: Sequence[Shot], identities: Sequence[Identity], policy: Policy
) -> Stretch | None:
    """The longest stretch that begins with the first of these shots, None if that one is no part of any."""
    if not (shots and state.charting and state.last is not None and state.cycles_s):
        return None
    names = _names(state, data_checks.without(shots[0], data_checks.in_doubt(state.data)), policy)
    if not names:
        return None
    return _extend(state, shots, identities, policy, names)


def _names(state: PressState, shot: Shot, policy: Policy) -> Names:
    """The characteristics of a shot if all of its press have limits, and it brings no new one; else none."""
    names = tuple(charted_keys(state, shot, policy))
    ready = all(each.limits is not None for each in state.keys.values())
    return names if ready and all(name in state.keys for name in names) else ()


def _extend(
    state: PressState, shots: Sequence[Shot], identities: Sequence[Identity], policy: Policy, names: Names
) -> Stretch | None:
    scan = _scanned(state, shots, identities, policy)
    looked = data_checks.look_at_all(state.data, shots[: scan.count], state.keys) if scan.count else None
    if looked is None or not looked.count:
        return None
    taken = shots[: looked.count]
    if looked.count < scan.count:  # a value comes into doubt before, or out of it
        scan = _scanned(state, taken, identities[: looked.count], policy)
    return Stretch(
        shots=[data_checks.without(shot, looked.doubts) for shot in taken] if looked.doubts else taken,
        names=names, cycles_s=scan.cycles_s, last=scan.last(taken[-1]), looked=looked,
        doubts=data_checks.signals_of(looked, taken),
    )


def _scanned(
    state: PressState, shots: Sequence[Shot], identities: Sequence[Identity], policy: Policy
) -> _Scan:
    scan = _Scan(state, shots[0], policy)
    for shot, identity in zip(shots, identities, strict=True):
        if not scan.take(shot, identity):
            break
        scan.count += 1
    return scan


class _Scan:
    """Walks along a stretch; what it remembers is what the shots of one may move."""

    def __init__(self, state: PressState, first: Shot, policy: Policy) -> None:
        assert state.last is not None
        self._state, self._policy = state, policy
        self._keys, self._units = list(first.values), first.units
        self._cycle = None if "cycle_time" in data_checks.in_doubt(state.data) else "cycle_time"
        self.count = 0
        self._setpoints: Mapping[str, float] = {}
        self._epoch, self._ended_at = state.last.epoch, state.last.ended_at
        self.cycles_s = list(state.cycles_s)
        # No usual cycle is shorter, whichever of the shots it is taken of.
        self._shortest_s = min(self.cycles_s)

    def take(self, shot: Shot, identity: Identity) -> bool:
        """Go on over one shot, if it only moves the charts."""
        pause_s = (shot.ended_at - self._ended_at).total_seconds()
        cycle_s = pause_s if self._cycle is None else shot.values.get(self._cycle, pause_s)
        if (
            identity.missing > 0
            or identity.epoch != self._epoch
            or list(shot.values) != self._keys
            or shot.units != self._units
            or pause_s > self._policy.stop_cycles * self._shortest_s - _MICROSECOND_S
            or (shot.setpoints != self._setpoints and self._moves_setpoints(shot))
        ):
            return False
        if 0 < cycle_s < math.inf:
            self.cycles_s.append(cycle_s)
            self._shortest_s = min(self._shortest_s, cycle_s)
        if pause_s > 0:
            self._ended_at = shot.ended_at
        return True

    def last(self, shot: Shot) -> Last:
        """Identity of the last shot; time never runs backward."""
        return Last(self._epoch, shot.counter, self._ended_at)

    def _moves_setpoints(self, shot: Shot) -> bool:
        self._setpoints = shot.setpoints
        after, _ = compare_setpoints(self._state, shot.setpoints, self._policy, at=shot.ended_at)
        return after is not self._state


def judge(state: PressState, stretch: Stretch) -> tuple[PressState, list[Verdict]]:
    """Judge a stretch.

    Returns
    -------
    state : PressState
        After its last shot.
    verdicts : list of Verdict
        One a shot.
    """
    names = (*stretch.names, *(key for key in state.keys if key not in stretch.names))
    held = [state.keys[name] for name in names]
    charts = tuple(each.limits.charts for each in held if each.limits is not None)
    after, track = panel_of(charts).run(_table(stretch, len(names)), [each.states for each in held])
    moved = {
        name: KeyState(limits=each.limits, states=states)
        for name, each, states in zip(names, held, after, strict=True)
    }
    trays, positions, tray_next = _trays(state, stretch.shots)
    known, sensed = sense.look(state.sense, state.setpoints, [shot.values for shot in stretch.shots])
    state = replace(
        state, last=stretch.last, keys={key: moved[key] for key in state.keys}, tray_next=tray_next,
        cycles_s=tuple(stretch.cycles_s[-CYCLES_KEPT:]), sense=known, data=stretch.looked.after,
    )
    signals = _signals(state, stretch, names, track)
    for place, found in sensed:
        signals[place] += (found,)
    shares, keys = _largest(names, track)
    return state, list(map(Verdict, repeat("charted"), shares, keys, trays, positions, signals))


def _table(stretch: Stretch, columns: int) -> FloatArray:
    """The values, a row a shot; characteristics that the shots do not have are NaN, right of the others."""
    values = table_of(stretch.shots, stretch.names)
    missing = columns - len(stretch.names)
    return np.hstack((values, np.full((len(values), missing), np.nan))) if missing else values


def _trays(
    state: PressState, shots: Sequence[Shot]
) -> tuple[list[str | None], list[int | None], int | None]:
    """Tray and position of each disc, and the next position: the shot's own word, else counted on."""
    trays, positions, following = [], [], state.tray_next
    for shot in shots:
        own = shot.tray is not None
        trays.append(shot.tray if own else state.tray)
        positions.append(shot.tray_position if own else following)
        if following is not None and not own:
            following += 1
    return trays, positions, following


def _largest(names: Names, track: PanelTrack) -> tuple[list[float | None], list[str | None]]:
    """Largest share of each shot and whose it is; None where no chart had a value."""
    shares: list[float | None] = track.share.tolist()
    keys: list[str | None] = [names[column] for column in track.column.tolist()]
    for row in np.flatnonzero(np.isnan(track.share)).tolist():
        shares[row] = keys[row] = None
    return shares, keys


def _signals(
    state: PressState, stretch: Stretch, names: Names, track: PanelTrack
) -> list[tuple[Signal, ...]]:
    """Signals of each shot: setpoints off their recipe, values in doubt, then those of the charts."""
    every = tuple(recipe_signals(state))
    signals = [every + doubts for doubts in stretch.doubts]
    for hit in track.hits:
        name = names[hit.column]
        limits, value = state.keys[name].limits, stretch.shots[hit.row].values.get(name, math.nan)
        assert limits is not None
        found = chart_signal(limits, limits.charts[hit.chart].name, hit.rule, value, hit)
        signals[hit.row] += (found,)
    return signals
