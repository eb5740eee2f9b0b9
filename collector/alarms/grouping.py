"""Which signals belong to which alarm. Pure: facts in, assignments out.

Signals of one press that come close together are one matter, and one person should handle them once. So an
active alarm takes every further signal of its kind, and so does an alarm that fell quiet a short while ago.
One exception keeps small things small: a single value far outside its limits starts an alarm of its own
unless its characteristic is already part of one, or a lasting change is going on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from collector.alarms.model import AlarmKind, SignalFact

JOIN_WITHIN_SHOTS = 20  # quiet shots after which a signal is a new matter; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """An alarm that nobody has closed yet, as far as grouping needs to know it.

    Attributes
    ----------
    ref : int
        Any number that names the alarm.
    quiet_shots : int
        Consecutive shots without a signal of its characteristics.
    single : bool
        So far only single bad shots.
    """

    ref: int
    kind: AlarmKind
    active: bool
    quiet_shots: int
    single: bool
    keys: frozenset[str]

    @property
    def open_to_signals(self) -> bool:
        """Whether a further signal may still belong to it."""
        return self.active or self.quiet_shots < JOIN_WITHIN_SHOTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Signals of one shot for one alarm; `ref` None asks for a new one."""

    ref: int | None
    kind: AlarmKind
    single: bool
    facts: tuple[SignalFact, ...]


def assign(facts: Iterable[SignalFact], candidates: Sequence[Candidate]) -> list[Group]:
    """Distribute the signals of one shot over the open alarms of its press.

    Parameters
    ----------
    facts : iterable of SignalFact
        The signals of one shot.
    candidates : sequence of Candidate
        The press's unclosed alarms as they stand before this shot.

    Returns
    -------
    list of Group
        Every fact exactly once; at most one group per alarm, and at most one new alarm of each kind.
    """
    groups: dict[tuple[AlarmKind, int | None, bool], list[SignalFact]] = {}
    for (kind, key), mine in _by_key(facts).items():
        single = kind == "process" and any(fact.one_value_far_out for fact in mine)
        ref = _home(kind, key, single=single, candidates=candidates)
        groups.setdefault((kind, ref, single and ref is None), []).extend(mine)
    return _adopt(groups)


def _by_key(facts: Iterable[SignalFact]) -> Mapping[tuple[AlarmKind, str], list[SignalFact]]:
    keyed: dict[tuple[AlarmKind, str], list[SignalFact]] = {}
    for fact in facts:
        keyed.setdefault((fact.alarm_kind, fact.key), []).append(fact)
    return keyed


def _home(kind: AlarmKind, key: str, *, single: bool, candidates: Sequence[Candidate]) -> int | None:
    possible = [c for c in candidates if c.kind == kind and c.open_to_signals]
    if single:
        possible = [c for c in possible if key in c.keys or (c.active and not c.single)]
    if not possible:
        return None
    best = max(possible, key=lambda c: (key in c.keys, not c.single, c.active, -c.quiet_shots, c.ref))
    return best.ref


def _adopt(groups: Mapping[tuple[AlarmKind, int | None, bool], list[SignalFact]]) -> list[Group]:
    """A bad value beside the start of a lasting change on the same shot is part of that change."""
    adopted = dict(groups)
    far_out, lasting = ("process", None, True), ("process", None, False)
    if far_out in adopted and lasting in adopted:
        adopted[lasting] = [*adopted[lasting], *adopted.pop(far_out)]
    return [
        Group(ref=ref, kind=kind, single=single, facts=tuple(facts))
        for (kind, ref, single), facts in adopted.items()
    ]
