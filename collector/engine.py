"""From a shot to a verdict: phase, chart statistics, signals. Pure.

`step` takes the press's state and one shot in order and returns the next state and what the shot did.
Nothing here reads a clock or a store, so a transaction that rolls back leaves nothing behind, and a
message that comes again gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from collector import startup
from collector.contract import quantities
from collector.contract.shot import Shot
from collector.identity import Identity
from collector.plan import Budget, KeyLimits, plan_key, watch_timer
from collector.press_state import KeyState, PressState, advanced, under
from rules.baseline import provisional
from rules.run_rules import RULES, points_of

CYCLES_KEPT = 31
DEFAULT_CYCLE_S = 60.0
POINTS = {rule.name: points_of(rule) for rule in RULES}


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """The settings the engine needs, see `collector.settings.Charts`."""

    vital: frozenset[str]
    startup_shots: int = 10
    provisional_shots: int = 25
    stop_cycles: float = 5.0
    false_alarms_per_day: float = 1.0
    minimum_shift: Mapping[str, float] = field(default_factory=dict)
    setpoint_tolerance: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One rule met by one shot; see the `signals` table."""

    kind: str
    key: str
    chart: str | None
    rule: str
    direction: int
    value: float | None
    statistic: float | None
    share: float | None
    points: int
    limits: KeyLimits | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something on the press's time axis, from this shot on; see the `events` table."""

    kind: str
    key: str | None = None
    old: Any = None
    new: Any = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one shot did."""

    phase: str
    share: float | None
    share_key: str | None
    tray: str | None
    tray_position: int | None
    signals: tuple[Signal, ...]
    events: tuple[Event, ...]
    new_limits: tuple[KeyLimits, ...]


def step(
    state: PressState, shot: Shot, identity: Identity, policy: Policy
) -> tuple[PressState, Verdict]:
    """Judge one new shot.

    Parameters
    ----------
    state : PressState
        After the shot before; its run is the one the shot belongs to.
    shot : Shot
        Canonical units.
    identity : Identity
        Its epoch, and how many counters are missing before it.
    policy : Policy

    Returns
    -------
    state : PressState
    verdict : Verdict
    """
    events = list(_gaps(state, shot, identity, policy))
    if any(event.kind == "stop" for event in events):
        state = state.starting()
    tray, position, state = _tray(state, shot)
    state, changed = compare_setpoints(state, shot.setpoints, policy)
    events += changed
    signals = list(_recipe_signals(state))
    state, restarted = _find_steady(state, policy)
    restarted = restarted or bool(changed and state.charting)
    if restarted:
        state = state.restarted()
        events.append(_restart_event(changed))
    charted = _chart(state, shot, policy) if state.charting else _Charted(keys=state.keys)
    signals += charted.signals
    state = _after(state, shot, identity, charted, policy)
    return state, Verdict(
        phase=charted.phase,
        share=charted.share,
        share_key=charted.share_key,
        tray=tray,
        tray_position=position,
        signals=tuple(signals),
        events=tuple(events),
        new_limits=charted.new_limits,
    )


def _gaps(state: PressState, shot: Shot, identity: Identity, policy: Policy) -> Iterable[Event]:
    """Missing counters, a new counter epoch, and a pause long enough to count as a stop."""
    last, cycle_s = state.last, state.usual_cycle_s()
    if last is None:
        return
    if identity.epoch != last.epoch:
        yield Event(kind="epoch", old=last.counter, new=shot.counter, note="the press's counter started anew")
    elif identity.missing > 0:
        assert shot.counter is not None
        note = f"{identity.missing} shots never arrived"
        yield Event(kind="gap", old=last.counter, new=shot.counter, note=note)
    pause = shot.ended_at - last.ended_at
    shots_apart = 1 + max(identity.missing, 0)
    longest_s = policy.stop_cycles * (cycle_s or DEFAULT_CYCLE_S) * shots_apart
    if not shot.time_reconstructed and pause > timedelta(seconds=longest_s):
        yield Event(kind="stop", new=pause.total_seconds(), note="no shot for this many seconds")


def _tray(state: PressState, shot: Shot) -> tuple[str | None, int | None, PressState]:
    """The tray the disc went to: the shot's own word, else the last tray message counted on."""
    if shot.tray is not None:
        return shot.tray, shot.tray_position, state
    position = state.tray_next
    if position is not None:
        state = replace(state, tray_next=position + 1)
    return state.tray, position, state


def compare_setpoints(
    state: PressState, reported: Mapping[str, float], policy: Policy
) -> tuple[PressState, list[Event]]:
    """Compare reported setpoints with those in force; a change beyond its tolerance is an event."""
    changed = {
        key: value
        for key, value in reported.items()
        if key not in state.setpoints or abs(value - state.setpoints[key]) > _tolerance(key, policy)
    }
    if not changed:
        return state, []
    events = [
        Event(kind="setpoint", key=key, old=state.setpoints[key], new=value)
        for key, value in changed.items()
        if key in state.setpoints
    ]
    return replace(state, setpoints={**state.setpoints, **changed}), events


def _tolerance(key: str, policy: Policy) -> float:
    """Half a unit of the last shown decimal, unless the settings say otherwise."""
    if key in policy.setpoint_tolerance:
        return policy.setpoint_tolerance[key]
    quantity = quantities.find(key)
    return 0.5 * 10.0 ** -(quantity.decimals if quantity else 3)


def _recipe_signals(state: PressState) -> Iterable[Signal]:
    """Setpoints in force that lie outside what the qualified recipe allows."""
    for key, allowed in state.recipe.items():
        value = state.setpoints.get(key)
        if value is None:
            continue
        deviation = value - allowed["setpoint"]
        # The last digit of a converted unit must not count as a deviation.
        if abs(deviation) > allowed["allowed"] + 1e-9 * abs(allowed["setpoint"]):
            share = abs(deviation) / allowed["allowed"] if allowed["allowed"] > 0 else None
            yield Signal(
                kind="setting", key=key, chart=None, rule="setpoint_deviation",
                direction=int(math.copysign(1, deviation)), value=value, statistic=deviation,
                share=share, points=1, limits=None,
            )


def _find_steady(state: PressState, policy: Policy) -> tuple[PressState, bool]:
    """Whether charting begins with this shot."""
    if state.charting:
        return state, False
    shares = state.shares if any(each.limits for each in state.keys.values()) else None
    if not startup.may_chart(state.startup_done, policy.startup_shots, state.recent, shares):
        return state, False
    return replace(state, charting=True, recent={}, shares=()), True


def _restart_event(changed: Iterable[Event]) -> Event:
    keys = ", ".join(str(event.key) for event in changed)
    return Event(kind="chart_restart", note=f"setpoint changed: {keys}" if keys else "press found steady")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Charted:
    keys: Mapping[str, KeyState]
    phase: str = "startup"
    share: float | None = None
    share_key: str | None = None
    signals: tuple[Signal, ...] = ()
    new_limits: tuple[KeyLimits, ...] = ()


def charted_keys(state: PressState, shot: Shot, policy: Policy) -> list[str]:
    """Keys of this shot that get a chart: vital ones, timers, and unknown ones that give their unit."""
    return [key for key in shot.values if key in state.keys or _is_charted(key, shot, policy)]


def _is_charted(key: str, shot: Shot, policy: Policy) -> bool:
    if key in policy.vital or key in shot.units:
        return True
    quantity = quantities.find(key)
    return quantity is not None and quantity.timer


def _chart(state: PressState, shot: Shot, policy: Policy) -> _Charted:
    keys = dict(state.keys)
    signals: list[Signal] = []
    made: list[KeyLimits] = []
    share, share_key, judged = None, None, False
    present, cycle_s = charted_keys(state, shot, policy), state.usual_cycle_s()
    for key in [*present, *(key for key in state.keys if key not in shot.values)]:
        value = shot.values.get(key, math.nan)
        before = keys.get(key, KeyState())
        if before.limits is None:
            before, new = _collect(
                key, value, before, cycle_s=cycle_s, policy=policy, characteristics=len(present)
            )
            keys[key] = before
            if new is None:
                continue
            made.append(new)  # the shot that completes a baseline is the first one judged by it
        judged = True
        keys[key], found, largest = _judge(key, value, before)
        signals += found
        if not math.isnan(largest) and (share is None or largest > share):
            share, share_key = largest, key
    return _Charted(
        keys=keys, phase="charted" if judged else "baseline", share=share, share_key=share_key,
        signals=tuple(signals), new_limits=tuple(made),
    )


def _judge(key: str, value: float, before: KeyState) -> tuple[KeyState, list[Signal], float]:
    """One value under its charts: next states, signals, largest share."""
    assert before.limits is not None
    states, signals, largest = [], [], math.nan
    for chart, chart_state in zip(before.limits.charts, before.states, strict=True):
        after, point = chart.step(chart_state, value)
        states.append(after)
        if not point.share <= largest:  # also true while `largest` is NaN
            largest = point.share
        signals += [
            Signal(
                kind="chart", key=key, chart=chart.name, rule=rule, direction=point.direction, value=value,
                statistic=point.statistic, share=point.share, points=POINTS.get(rule, 1),
                limits=before.limits,
            )
            for rule in point.signals
        ]
    return replace(before, states=tuple(states)), signals, largest


def _collect(
    key: str, value: float, before: KeyState, *, cycle_s: float | None, policy: Policy, characteristics: int
) -> tuple[KeyState, KeyLimits | None]:
    """Add a steady value to the baseline; make provisional limits when there are enough."""
    if math.isnan(value):
        return before, None
    collected = (*before.collected, value)
    quantity = quantities.find(key)
    if quantity is not None and quantity.timer:
        limits = watch_timer(key, value, version=1)
        return under(limits), limits
    if len(collected) < policy.provisional_shots:
        return replace(before, collected=collected), None
    if len(set(collected)) == 1:  # never moved: it is watched for change, since it has no sigma
        limits = watch_timer(key, value, version=1)
        return under(limits), limits
    floor = Budget(
        false_alarms_per_day=policy.false_alarms_per_day,
        characteristics=max(characteristics, 1),
        cycle_time_s=cycle_s or DEFAULT_CYCLE_S,
    )
    limits = plan_key(
        key, provisional(collected), floor.provisional(), version=1,
        minimum_shift=policy.minimum_shift.get(key, 0.0),
    )
    return under(limits), limits


def _after(
    state: PressState, shot: Shot, identity: Identity, charted: _Charted, policy: Policy
) -> PressState:
    last = advanced(state.last, epoch=identity.epoch, counter=shot.counter, ended_at=shot.ended_at)
    state = replace(state, last=last, keys=charted.keys, cycles_s=_cycles(state, shot))
    return state if state.charting else _during_startup(state, shot, policy)


def _cycles(state: PressState, shot: Shot) -> tuple[float, ...]:
    """The press's own cycle time, else the time since the shot before."""
    cycle_s = shot.values.get("cycle_time")
    if cycle_s is None and state.last is not None:
        cycle_s = (shot.ended_at - state.last.ended_at).total_seconds()
    if cycle_s is None or cycle_s <= 0:
        return state.cycles_s
    return (*state.cycles_s, cycle_s)[-CYCLES_KEPT:]


def _during_startup(state: PressState, shot: Shot, policy: Policy) -> PressState:
    """Remember what decides when the press is steady."""
    recent = {
        key: (*state.recent.get(key, ()), shot.values[key])[-startup.WINDOW :]
        for key in charted_keys(state, shot, policy)
        if quantities.find(key) is not None  # an unknown quantity may wander for reasons nobody told us
    }
    shares = [
        _judge(key, shot.values[key], each.restarted())[2]
        for key, each in state.keys.items()
        if each.limits is not None and key in shot.values
    ]
    finite = [share for share in shares if not math.isnan(share)]
    return replace(
        state,
        startup_done=state.startup_done + 1,
        recent=recent,
        shares=(*state.shares, max(finite, default=0.0))[-startup.WINDOW :],
    )
