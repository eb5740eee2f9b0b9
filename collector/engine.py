"""From a shot to a verdict: phase, chart statistics, signals. Pure.

`step` takes the press's state and one shot in order and returns the next state and what the shot did.
Nothing here reads a clock or a store, so a transaction that rolls back leaves nothing behind, and a
message that comes again gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta

from collector import charting, sense, startup, stretch
from collector.contract import quantities
from collector.contract.shot import Shot
from collector.data_checks import signals as data_checks
from collector.identity import Identity
from collector.press_state import CYCLES_KEPT, PressState, advanced
from collector.setpoints import compare_setpoints, recipe_signals
from collector.verdict import DEFAULT_CYCLE_S, Event, Policy, Verdict


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
    state, changed = compare_setpoints(state, shot.setpoints, policy, at=shot.ended_at)
    events += changed
    signals = [] if state.trial else list(recipe_signals(state))
    data, shot, doubts = data_checks.look_at(state.data, shot, state.keys)
    state, signals = replace(state, data=data), [*signals, *doubts]
    state, restarted = _find_steady(state, policy)
    restarted = restarted or bool(changed and state.charting)
    if restarted:
        state = state.restarted()
        events.append(_restart_event(changed))
    charted = charting.chart(state, shot, policy) if state.charting else charting.Charted(keys=state.keys)
    signals += charted.signals
    if state.charting:
        known, found = sense.look(state.sense, state.setpoints, [shot.values])
        state, signals = replace(state, sense=known), [*signals, *(signal for _, signal in found)]
    state = _after(state, shot, identity, charted, policy)
    return state, Verdict(
        phase="trial" if state.trial else charted.phase,
        share=charted.share,
        share_key=charted.share_key,
        tray=tray,
        tray_position=position,
        signals=tuple(signals),
        events=tuple(events),
        new_limits=charted.new_limits,
    )


def run(
    state: PressState, shots: Sequence[Shot], identities: Sequence[Identity], policy: Policy
) -> tuple[PressState, list[Verdict]]:
    """Judge many new shots; equal to folding :func:`step` over them.

    Parameters
    ----------
    state : PressState
        After the shot before the first; all shots belong to its run.
    shots : sequence of Shot
    identities : sequence of Identity
        One a shot.
    policy : Policy

    Returns
    -------
    state : PressState
    verdicts : list of Verdict
        One a shot.
    """
    verdicts: list[Verdict] = []
    while (done := len(verdicts)) < len(shots):
        found = stretch.find(state, shots[done:], identities[done:], policy)
        if found is None:
            state, verdict = step(state, shots[done], identities[done], policy)
            verdicts.append(verdict)
        else:
            state, judged = stretch.judge(state, found)
            verdicts += judged
    return state, verdicts


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


def _find_steady(state: PressState, policy: Policy) -> tuple[PressState, bool]:
    """Whether charting begins with this shot."""
    if state.charting or state.trial:
        return state, False
    shares = state.shares if any(each.limits for each in state.keys.values()) else None
    if not startup.may_chart(state.startup_done, policy.startup_shots, state.recent, shares):
        return state, False
    return replace(state, charting=True, recent={}, shares=()), True


def _restart_event(changed: Iterable[Event]) -> Event:
    keys = ", ".join(str(event.key) for event in changed)
    return Event(kind="chart_restart", note=f"setpoint changed: {keys}" if keys else "press found steady")


def _after(
    state: PressState, shot: Shot, identity: Identity, charted: charting.Charted, policy: Policy
) -> PressState:
    last = advanced(state.last, epoch=identity.epoch, counter=shot.counter, ended_at=shot.ended_at)
    state = replace(state, last=last, keys=charted.keys, cycles_s=_cycles(state, shot), fresh=False)
    return state if state.charting else _during_startup(state, shot, policy)


def _cycles(state: PressState, shot: Shot) -> tuple[float, ...]:
    """The press's own cycle time, else the time since the shot before."""
    cycle_s = shot.values.get("cycle_time")
    if cycle_s is None and state.last is not None:
        cycle_s = (shot.ended_at - state.last.ended_at).total_seconds()
    if cycle_s is None or not 0 < cycle_s < math.inf:
        return state.cycles_s
    return (*state.cycles_s, cycle_s)[-CYCLES_KEPT:]


def _during_startup(state: PressState, shot: Shot, policy: Policy) -> PressState:
    """Remember what decides when the press is steady."""
    recent = {
        key: (*state.recent.get(key, ()), shot.values[key])[-startup.WINDOW :]
        for key in charting.charted_keys(state, shot, policy)
        if quantities.find(key) is not None  # an unknown quantity may wander for reasons nobody told us
    }
    shares = [
        charting.judge(shot.values[key], each.restarted())[2]
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
