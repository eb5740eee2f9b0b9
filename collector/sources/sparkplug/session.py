"""What an edge node and its devices have told since their births, and what follows from the next message.

Without input or output: messages and seconds come in, findings go out.

References
----------
ISO/IEC 20237:2023, chapter 5 (births and deaths with bdSeq, message ordering) and chapter 6 (aliases,
report by exception, historical values).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from collector.contract.unreadable import Unreadable, shown
from collector.settings_sparkplug import SparkplugDevice
from collector.sources.sparkplug.findings import Doubt, Finding, Heard, Rebirth, ShotFound, StateFound
from collector.sources.sparkplug.order import Order
from collector.sources.sparkplug.payload import Metric, Value, as_signed

__all__ = ["EdgeNode"]

ASK_AGAIN_S = 30.0
BD_SEQ = "bdSeq"


@dataclass(slots=True)
class _Place:
    """A mapped device, or the edge node itself as one."""

    device: SparkplugDevice
    born: bool = False
    known: dict[str, Metric] = field(default_factory=dict)  # certain, whether sent now or carried forward
    types: dict[str, int | None] = field(default_factory=dict)
    last_shot: Value | None = None


class EdgeNode:
    """One edge node.

    Parameters
    ----------
    group, node : str
        Its ids.
    devices : sequence of SparkplugDevice
        What of it is mapped.
    reorder_s : float
        Reorder timeout, in seconds.
    """

    def __init__(self, group: str, node: str, devices: Sequence[SparkplugDevice], reorder_s: float) -> None:
        self._group, self._node = group, node
        self._places = {each.device: _Place(each) for each in devices}
        self._order: Order[Heard] = Order(reorder_s)
        self._aliases: dict[int, str] = {}
        self._born = False
        self._bd_seq: Value | None = None
        self._asked_at_s: float | None = None

    def take(self, heard: Heard, *, now_s: float) -> list[Finding]:
        """What follows from a message; one that came too early waits."""
        kind = heard.topic.kind
        if kind == "NDEATH":
            return list(self._node_death(heard, now_s))
        if kind == "NBIRTH":
            return list(self._node_birth(heard, now_s))
        if heard.payload.seq is None:
            ready = [heard]
        else:
            ready = self._order.take(heard.payload.seq, heard, now_s=now_s)
        return list(self._all(ready, now_s))

    def look(self, *, now_s: float) -> list[Finding]:
        """What follows from time: a message that is missing for too long is lost."""
        if not self._order.is_overdue(now_s):
            return []
        why = "its birth was not seen"
        if self._born:
            why = "a message of it is missing"
            self._forget()
        return [*self._ask(why, now_s), *self._all(self._order.give_up(), now_s)]

    def lose(self) -> None:
        """Mark everything stale: our own connection was lost, and messages with it."""
        self._order.end()
        self._end()

    def _end(self) -> None:
        """End the session: what a birth told holds no longer."""
        self._born = False
        self._asked_at_s = None
        self._aliases.clear()
        self._forget()
        for place in self._places.values():
            place.born = False

    def ask_for_births(self, *, now_s: float) -> list[Finding]:
        """Ask, unless it was born or asked just now."""
        return [] if self._born else list(self._ask("this host has just come", now_s))

    def _node_birth(self, heard: Heard, now_s: float) -> Iterator[Finding]:
        if self._born:
            yield from self._all(self._left_over(), now_s)
        self._end()  # what came too early belongs to this birth, and stays
        self._born = True
        self._bd_seq = next((each.value for each in heard.payload.metrics if each.name == BD_SEQ), None)
        yield from self._birth(heard)
        yield from self._all(self._order.begin(heard.payload.seq or 0, now_s=now_s), now_s)

    def _node_death(self, heard: Heard, now_s: float) -> Iterator[Finding]:
        """A will may come after the next birth; only the one that belongs to the last birth counts."""
        bd_seq = next((each.value for each in heard.payload.metrics if each.name == BD_SEQ), None)
        if not self._born or bd_seq != self._bd_seq:
            return
        yield from self._all(self._left_over(), now_s)
        born = [place.device for place in self._places.values() if place.born]
        self._end()
        for device in born:
            reason = f"edge node {self._node} lost its connection"
            yield StateFound(device, online=False, reason=reason)

    def _left_over(self) -> list[Heard]:
        """What still waits for a message that will not come."""
        waiting = self._order.end()
        if waiting:
            self._forget()
        return waiting

    def _all(self, ready: Iterable[Heard], now_s: float) -> Iterator[Finding]:
        for heard in ready:
            kind = heard.topic.kind
            if kind == "DBIRTH":
                yield from self._device_birth(heard, now_s)
            elif kind == "DDEATH":
                yield from self._device_death(heard)
            else:
                yield from self._data(heard, now_s)

    def _device_birth(self, heard: Heard, now_s: float) -> Iterator[Finding]:
        if not self._born:
            yield from self._ask("its birth was not seen", now_s)
            return
        yield from self._birth(heard)

    def _birth(self, heard: Heard) -> Iterator[Finding]:
        """Take names, aliases, types and values; a birth tells how things stand, and ends no shot."""
        metrics = heard.payload.metrics
        self._aliases |= {each.alias: each.name for each in metrics if each.alias is not None and each.name}
        place = self._places.get(heard.topic.device)
        if place is None:
            return
        place.born = True
        place.types = {each.name: each.datatype for each in metrics if each.name}
        place.known = {name: metric for name, metric in self._named(place, metrics) if not metric.historical}
        shot = place.known.get(place.device.shot)
        place.last_shot = None if shot is None else shot.value
        yield StateFound(place.device, online=True, reason=None)

    def _device_death(self, heard: Heard) -> Iterator[Finding]:
        place = self._places.get(heard.topic.device)
        if place is None:
            return
        place.born = False
        place.known.clear()
        reason = f"edge node {self._node} lost the device"
        yield StateFound(place.device, online=False, reason=reason)

    def _data(self, heard: Heard, now_s: float) -> Iterator[Finding]:
        place = self._places.get(heard.topic.device)
        if place is None:
            return
        if not place.born:
            yield from self._ask("its birth was not seen", now_s)
        named = list(self._named(place, heard.payload.metrics))
        if len(named) < len(heard.payload.metrics):
            yield from self._ask("it uses an alias that its birth did not give", now_s)
            yield Doubt(_without_birth(heard), heard)
        live = [(name, metric) for name, metric in named if not metric.historical]
        past = [(name, metric) for name, metric in named if metric.historical]
        yield from self._live(place, live, heard)
        yield from self._past(place, past, heard)

    def _live(self, place: _Place, named: list[tuple[str, Metric]], heard: Heard) -> Iterator[Finding]:
        """Shots of a data message: what it does not say is as it was."""
        for group in _by_shot(named, place.device.shot):
            place.known |= group
            shot = group.get(place.device.shot)
            # Some send everything again although nothing changed; that ends no shot.
            if shot is not None and shot.value is not None and shot.value != place.last_shot:
                place.last_shot = shot.value
                yield ShotFound(place.device, dict(place.known), _time(shot, heard), heard)

    def _past(self, place: _Place, named: list[tuple[str, Metric]], heard: Heard) -> Iterator[Finding]:
        """Shots from before a reconnect, of which only what they say themselves is certain."""
        for group in _by_shot(named, place.device.shot):
            shot = group.get(place.device.shot)
            if shot is not None and shot.value is not None:
                yield ShotFound(place.device, group, _time(shot, heard), heard)

    def _named(self, place: _Place, metrics: Iterable[Metric]) -> Iterator[tuple[str, Metric]]:
        """Metrics by their name, in the type of their birth; one whose alias nobody gave is left out."""
        for metric in metrics:
            name = metric.name
            if not name and metric.alias is not None:
                name = self._aliases.get(metric.alias)
            if name:
                datatype = metric.datatype or place.types.get(name)
                yield name, replace(metric, value=as_signed(metric.value, datatype))

    def _forget(self) -> None:
        """From now on only what is sent again is certain."""
        for place in self._places.values():
            place.known.clear()

    def _ask(self, why: str, now_s: float) -> Iterator[Finding]:
        if self._asked_at_s is None or now_s - self._asked_at_s >= ASK_AGAIN_S:
            self._asked_at_s = now_s
            yield Rebirth(self._group, self._node, why)


def _by_shot(named: list[tuple[str, Metric]], shot: str) -> list[dict[str, Metric]]:
    """The metrics of one message, one group a shot.

    All are of one shot, unless the message has several; then a metric is of the first that is not earlier.
    """
    ends = sorted({metric.at_ms or 0 for name, metric in named if name == shot})
    if len(ends) <= 1:
        return [dict(named)]
    groups: list[dict[str, Metric]] = [{} for _ in (*ends, None)]
    for name, metric in named:
        place = sum(end < (metric.at_ms or 0) for end in ends)
        groups[place][name] = metric
    return groups


def _time(shot: Metric, heard: Heard) -> int | None:
    return heard.payload.at_ms if shot.at_ms is None else shot.at_ms


def _without_birth(heard: Heard) -> Unreadable:
    unknown = [each.alias for each in heard.payload.metrics if not each.name]
    return Unreadable(
        "no_birth",
        f"edge node {shown(heard.topic.node)} sends the alias {shown(unknown[0])}, which no birth that was "
        "seen gives a name",
        "nothing to do when it is one message after a start, since births are asked for; otherwise let the "
        "edge node take part in rebirths",
    )
