"""What sensors and gateways make of the records of sound shots: changed, twice, late, or never.

Physics is over here: only what is told changes, and the truth of each shot names what was done to it.
"""

import heapq
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from simulator.faults import Episode
from simulator.faults.garble import Garble
from simulator.records import SimEvent, SimRecord, SimShot, happened


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one message.

    It is `lost`, or comes when `due`, or when the connection is back; and `again` once more. As a rule it
    comes at once.
    """

    record: SimRecord
    lost: bool = False
    due: datetime | None = None
    again: datetime | None = None
    until_back: bool = False


@dataclass(slots=True)
class Memory:
    """What one fault remembers from message to message."""

    held: dict[str, float] = field(default_factory=dict)
    base: int | None = None


class Gateway:
    """One press's gateway with its sensors.

    Parameters
    ----------
    episodes : iterable of Episode
        Of this press, with a `garble` in their case.
    rng : numpy.random.Generator
        Of its own, so that what is lost changes nothing of what is made.
    """

    def __init__(self, episodes: Iterable[Episode], rng: np.random.Generator) -> None:
        self._spoiling = [
            (episode, episode.case.garble, Memory())
            for episode in episodes
            if episode.case.garble is not None
        ]
        self._rng = rng
        self._waiting: list[tuple[datetime, int, SimRecord]] = []
        self._kept: list[SimRecord] = []
        self._serial = 0

    def send(self, records: Iterable[SimRecord], made: Callable[[SimShot], None]) -> Iterator[SimRecord]:
        """Pass records on.

        Parameters
        ----------
        records : iterable of SimShot or SimEvent
            In time order.
        made : callable
            Told of every shot once, with its truth, whatever becomes of its message.

        Yields
        ------
        SimShot or SimEvent
            In the order in which they arrive.
        """
        for record in records:
            moment = happened(record)
            yield from self._due(moment)
            fate = self._fate(record, moment)
            if isinstance(fate.record, SimShot):
                made(fate.record)
            if self._kept and not fate.until_back:
                yield from self._kept
                self._kept = []
            yield from self._pass_on(fate)
        yield from self._kept
        yield from (heapq.heappop(self._waiting)[2] for _ in range(len(self._waiting)))

    def _fate(self, record: SimRecord, moment: datetime) -> Fate:
        fate = Fate(record)
        for episode, garble, memory in self._spoiling:
            met = self._rng.random() < garble.chance
            at_work = met and episode.grown(moment) > 0
            if at_work or memory.base is not None:  # a counter goes on from where it began anew
                fate = WAYS[garble.kind](fate, garble, memory, moment)
            else:
                memory.held.clear()  # a plug makes contact again; the next time it holds another value
            if at_work:
                fate = _marked(fate, episode.fault)
        return fate

    def _pass_on(self, fate: Fate) -> Iterator[SimRecord]:
        if fate.lost:
            return
        if fate.until_back:
            self._kept.append(fate.record)
        elif fate.due is not None:
            self._later(fate.due, fate.record)
        else:
            yield fate.record
        if fate.again is not None:
            self._later(fate.again, fate.record)

    def _later(self, due: datetime, record: SimRecord) -> None:
        self._serial += 1
        heapq.heappush(self._waiting, (due, self._serial, record))

    def _due(self, moment: datetime) -> Iterator[SimRecord]:
        while self._waiting and self._waiting[0][0] <= moment:
            yield heapq.heappop(self._waiting)[2]


def _marked(fate: Fate, fault: str) -> Fate:
    record = fate.record
    if not isinstance(record, SimShot):
        return fate
    faults = tuple(sorted({*record.truth.faults, fault}))
    return replace(fate, record=replace(record, truth=replace(record.truth, faults=faults)))


def _valued(change: Callable[[float, Garble, float], float]) -> "Way":
    """A way that changes values: (value now, garble, the value it had when the fault began) -> value told."""

    def way(fate: Fate, garble: Garble, memory: Memory, _moment: datetime) -> Fate:
        shot = fate.record
        if not isinstance(shot, SimShot):
            return fate
        told = {
            key: change(shot.values[key], garble, memory.held.setdefault(key, shot.values[key]))
            for key in garble.keys
            if key in shot.values
        }
        return replace(fate, record=replace(shot, values={**shot.values, **told}))

    return way


def _coarse(value: float, garble: Garble, _first: float) -> float:
    return round(round(value / garble.size) * garble.size, 6)


def _counted_anew(fate: Fate, garble: Garble, memory: Memory, _moment: datetime) -> Fate:
    shot = fate.record
    if not isinstance(shot, SimShot):
        return fate
    memory.base = shot.counter if memory.base is None else memory.base
    return replace(fate, record=replace(shot, counter=shot.counter - memory.base + int(garble.size)))


def _clocked(fate: Fate, garble: Garble, _memory: Memory, moment: datetime) -> Fate:
    by, record = timedelta(seconds=garble.size), fate.record
    if isinstance(record, SimEvent):
        return replace(fate, record=replace(record, at=record.at + by, happened_at=moment))
    return replace(fate, record=replace(record, ended_at=record.ended_at + by))


def _twice(fate: Fate, garble: Garble, _memory: Memory, moment: datetime) -> Fate:
    return replace(fate, again=moment + timedelta(seconds=garble.size))


def _late(fate: Fate, garble: Garble, _memory: Memory, moment: datetime) -> Fate:
    if garble.size == 0:
        return replace(fate, until_back=True)
    return replace(fate, due=moment + timedelta(seconds=garble.size))


def _lost(fate: Fate, _garble: Garble, _memory: Memory, _moment: datetime) -> Fate:
    return replace(fate, lost=True)


Way = Callable[[Fate, Garble, Memory, datetime], Fate]

WAYS: dict[str, Way] = {
    "stuck": _valued(lambda _value, _garble, first: first),
    "zero": _valued(lambda _value, _garble, _first: 0.0),
    "coarse": _valued(_coarse),
    "scaled": _valued(lambda value, garble, _first: round(value * garble.size, 4)),
    "fahrenheit": _valued(lambda value, _garble, _first: round(value * 1.8 + 32, 2)),
    "counter": _counted_anew,
    "clock": _clocked,
    "twice": _twice,
    "late": _late,
    "lost": _lost,
}
