"""One shot under the charts of its characteristics. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from collector.contract import quantities
from collector.contract.shot import Shot
from collector.plan import Budget, KeyLimits, plan_key, watch_timer
from collector.press_state import KeyState, PressState, under
from collector.verdict import DEFAULT_CYCLE_S, POINTS, Phase, Policy, Signal
from rules.baseline import provisional
from rules.charts.chart import Point
from rules.charts.panel import Hit


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    keys: Mapping[str, KeyState]
    phase: Phase = "startup"
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
    return quantities.is_timer(key)


def chart(state: PressState, shot: Shot, policy: Policy) -> Charted:
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
        keys[key], found, largest = judge(value, before)
        signals += found
        if not math.isnan(largest) and (share is None or largest > share):
            share, share_key = largest, key
    return Charted(
        keys=keys, phase="charted" if judged else "baseline", share=share, share_key=share_key,
        signals=tuple(signals), new_limits=tuple(made),
    )


def judge(value: float, before: KeyState) -> tuple[KeyState, list[Signal], float]:
    """One value under its charts: next states, signals, largest share."""
    assert before.limits is not None
    states, signals, largest = [], [], math.nan
    for chart, chart_state in zip(before.limits.charts, before.states, strict=True):
        after, point = chart.step(chart_state, value)
        states.append(after)
        if not point.share <= largest:  # also true while `largest` is NaN
            largest = point.share
        signals += [chart_signal(before.limits, chart.name, rule, value, point) for rule in point.signals]
    return replace(before, states=tuple(states)), signals, largest


def chart_signal(limits: KeyLimits, chart: str, rule: str, value: float, found: Point | Hit) -> Signal:
    """What a rule of a chart says about one shot."""
    return Signal(
        kind="chart", key=limits.key, chart=chart, rule=rule, direction=found.direction, value=value,
        statistic=found.statistic, share=found.share, points=POINTS.get(rule, 1), limits=limits,
    )


def _collect(
    key: str, value: float, before: KeyState, *, cycle_s: float | None, policy: Policy, characteristics: int
) -> tuple[KeyState, KeyLimits | None]:
    """Add a steady value to the baseline; make provisional limits when there are enough."""
    if math.isnan(value):
        return before, None
    collected = (*before.collected, value)
    enough = len(collected) >= policy.provisional_shots
    # A value that never moved has no sigma: like a timer it is watched for change.
    if quantities.is_timer(key) or (enough and len(set(collected)) == 1):
        limits = watch_timer(key, value, version=1)
        return under(limits), limits
    if not enough:
        return replace(before, collected=collected), None
    floor = Budget(
        false_alarms_per_day=policy.false_alarms_per_day,
        characteristics=max(characteristics, 1),
        cycle_time_s=cycle_s or DEFAULT_CYCLE_S,
    )
    found = provisional(collected)
    limits = plan_key(
        key, found, floor.provisional(found), version=1,
        minimum_shift=policy.minimum_shift.get(key, 0.0),
    )
    return under(limits), limits
