"""Setpoints: what changed, and what lies outside of the qualified recipe. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from collector.contract import quantities
from collector.press_state import PressState
from collector.store.types import to_micros
from collector.verdict import Event, Policy, Signal


def compare_setpoints(
    state: PressState, reported: Mapping[str, float], policy: Policy, *, at: datetime
) -> tuple[PressState, list[Event]]:
    """Compare setpoints reported `at` a time with those in force; a change beyond its tolerance is an event.

    Until the first shot of a run they are its setup: they come into force without an event.
    """
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
        if key in state.setpoints and not state.fresh
    ]
    times = dict.fromkeys(changed, to_micros(at))
    state = replace(
        state, setpoints={**state.setpoints, **changed}, setpoint_times={**state.setpoint_times, **times}
    )
    return state, events


def news(state: PressState, reported: Mapping[str, float], *, at: datetime) -> dict[str, float]:
    """What of a message is not older than the setpoints in force; the broker may repeat an old message."""
    told = to_micros(at)
    times = state.setpoint_times
    return {key: value for key, value in reported.items() if key not in times or told >= times[key]}


def _tolerance(key: str, policy: Policy) -> float:
    """Half a unit of the last shown decimal, unless the settings say otherwise."""
    if key in policy.setpoint_tolerance:
        return policy.setpoint_tolerance[key]
    quantity = quantities.find(key)
    return 0.5 * 10.0 ** -(quantity.decimals if quantity else 3)


def recipe_signals(state: PressState) -> Iterable[Signal]:
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
