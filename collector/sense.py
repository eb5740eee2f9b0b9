"""Whether a press does what it was told: setpoints against the values they drive. Pure.

Three things are told, each a rule of its own: a setpoint moved while its value did not (`did_not_follow`, as
of a press that is at its pressure or speed limit), a value left its level while its setpoint stood
(`moved_alone`, as of a heater band that failed), and a cushion that is used up (`no_cushion`). Levels are
learned from the press itself after every change of the setpoint, so a sensor that always reads a little
beside its setpoint says nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean
from typing import Any

from collector.contract import quantities
from collector.contract.drives import NO_CUSHION, Drive, of_setpoint
from collector.verdict import Signal

KIND = "sense"
LEARN = 10    # shots that make a level
SETTLE = 3    # shots after a change that are left to the press ...
SETTLE_SLOW = 30  # ... and to a temperature
IN_A_ROW = 3  # shots off their level before it is told
FOLLOWED = 0.25  # share of the expected move below which a value did not follow


@dataclass(frozen=True, slots=True, kw_only=True)
class Follow:
    """What is known of one driven value.

    Attributes
    ----------
    setpoint : float
        In force while this level was learned.
    level : float or None
        Mean of the value under it; None while it is being learned.
    wait : int
        Shots that are still left to the press.
    learned : tuple of float
        Values so far, while there is no level.
    off : int
        Shots in a row off the level.
    before : tuple of (float, float) or None
        Setpoint and level before the change, until the move was judged.
    """

    setpoint: float
    level: float | None = None
    wait: int = 0
    learned: tuple[float, ...] = ()
    off: int = 0
    before: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sense:
    """What is known of every driven value of a press, by its key.

    `cushioned` names cushions that this run has seen above their threshold: a press that always writes zero
    has no such sensor.
    """

    follows: Mapping[str, Follow] = field(default_factory=dict)
    cushioned: tuple[str, ...] = ()


NOTHING = Sense()
Found = tuple[int, Signal]  # place of the shot, what it said


def look(
    known: Sense, setpoints: Mapping[str, float], shots: Sequence[Mapping[str, float]]
) -> tuple[Sense, list[Found]]:
    """Look at shots in a row made under the same setpoints.

    Parameters
    ----------
    known : Sense
        Before them.
    setpoints : mapping of str to float
        In force, canonical units.
    shots : sequence of mapping
        Values of each, all with the same keys.

    Returns
    -------
    known : Sense
        After them.
    found : list of (int, Signal)
        What they said, with the place of the shot, by pair and place.
    """
    if not shots:
        return known, []
    follows, found = dict(known.follows), []
    for drive, setpoint in _pairs(setpoints, shots[0]):
        values = [shot[drive.actual] for shot in shots]
        follows[drive.actual], told = _follow(follows.get(drive.actual), drive, setpoint, values)
        found += told
    cushioned = known.cushioned
    for key in NO_CUSHION:
        if key in shots[0]:
            cushioned, told = _cushion(key, cushioned, [shot[key] for shot in shots])
            found += told
    if not follows and cushioned is known.cushioned:
        return known, found
    return Sense(follows=follows, cushioned=cushioned), found


def _pairs(setpoints: Mapping[str, float], shot: Mapping[str, float]) -> Iterator[tuple[Drive, float]]:
    for key, setpoint in setpoints.items():
        drive = of_setpoint(key)
        if drive is not None and drive.actual in shot:
            yield drive, setpoint


def _follow(
    known: Follow | None, drive: Drive, setpoint: float, values: Sequence[float]
) -> tuple[Follow, list[Found]]:
    """One pair over shots in a row."""
    state = known if known is not None and known.setpoint == setpoint else _changed(known, drive, setpoint)
    learning = 0
    found: list[Found] = []
    if state.level is None:
        state, learning = _learn(state, values)
        if state.level is None:
            return state, found
        if learning and state.before is not None:
            found += _judged(state, drive, learning - 1, values[learning - 1])
    if not drive.alone:
        return _with(state, off=0), found
    assert state.level is not None
    off, level, tolerance = state.off, state.level, drive.tolerance(state.level)
    for place in range(learning, len(values)):
        away = values[place] - level
        off = off + 1 if abs(away) > tolerance else 0
        if off >= IN_A_ROW:
            found.append((place, _signal(drive.actual, "moved_alone", values[place], away, tolerance)))
    return _with(state, off=off), found


def _changed(known: Follow | None, drive: Drive, setpoint: float) -> Follow:
    """A setpoint that is new to us, or moved: its level has to be learned anew."""
    if known is None:
        return Follow(setpoint=setpoint)
    before = known.before if known.level is None else (known.setpoint, known.level)
    wait = SETTLE_SLOW if quantities.is_slow(drive.actual) else SETTLE
    return Follow(setpoint=setpoint, wait=wait, before=before)


def _learn(state: Follow, values: Sequence[float]) -> tuple[Follow, int]:
    """Take values until there is a level; how many were used."""
    skipped = min(state.wait, len(values))
    used = min(LEARN - len(state.learned), len(values) - skipped)
    learned = (*state.learned, *values[skipped : skipped + used])
    done = len(learned) == LEARN
    after = Follow(
        setpoint=state.setpoint, wait=state.wait - skipped, before=state.before,
        level=fmean(learned) if done else None, learned=() if done else learned,
    )
    return after, skipped + used


def _judged(state: Follow, drive: Drive, place: int, value: float) -> list[Found]:
    """Whether the value went where the setpoint sent it, once its new level is known."""
    assert state.before is not None
    assert state.level is not None
    setpoint_before, level_before = state.before
    expected = drive.expected(level_before, setpoint_before, state.setpoint)
    # A move within what the value does by itself cannot be told from none.
    if expected is None or abs(expected) <= drive.tolerance(level_before):
        return []
    moved = state.level - level_before
    if moved / expected >= FOLLOWED:
        return []
    return [(place, _signal(drive.actual, "did_not_follow", value, moved - expected, abs(expected)))]


def _with(state: Follow, *, off: int) -> Follow:
    """The state once its move was judged."""
    if state.off == off and state.before is None:
        return state
    return Follow(setpoint=state.setpoint, level=state.level, off=off)


def _cushion(
    key: str, cushioned: tuple[str, ...], values: Sequence[float]
) -> tuple[tuple[str, ...], list[Found]]:
    least, found = NO_CUSHION[key], []
    for place, value in enumerate(values):
        if value > least:
            if key not in cushioned:
                cushioned = (*cushioned, key)
        elif key in cushioned:
            found.append((place, _signal(key, "no_cushion", value, value - least, None)))
    return cushioned, found


def _signal(key: str, rule: str, value: float, away: float, tolerance: float | None) -> Signal:
    share = abs(away) / tolerance if tolerance else None
    return Signal(
        kind=KIND, key=key, chart=None, rule=rule, direction=1 if away > 0 else -1, value=value,
        statistic=away, share=share, points=IN_A_ROW if rule == "moved_alone" else 1, limits=None,
    )


def dump(known: Sense) -> dict[str, Any]:
    """What is known as JSON."""
    return {
        "follows": {
            key: [each.setpoint, each.level, each.wait, list(each.learned), each.off, each.before]
            for key, each in known.follows.items()
        },
        "cushioned": list(known.cushioned),
    }


def load(stored: Mapping[str, Any] | None) -> Sense:
    """Rebuild what :func:`dump` wrote; nothing is known where nothing was written."""
    if stored is None:
        return NOTHING
    follows = {}
    for key, (setpoint, level, wait, learned, off, before) in stored["follows"].items():
        follows[key] = Follow(
            setpoint=setpoint, level=level, wait=wait, learned=tuple(learned), off=off,
            before=None if before is None else (before[0], before[1]),
        )
    return Sense(follows=follows, cushioned=tuple(stored["cushioned"]))
