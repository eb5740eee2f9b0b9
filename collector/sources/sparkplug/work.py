"""From the host's connection into the pipeline: a thread that keeps sessions and hands over records."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.contract.bodies import Frame, Message
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.unreadable import Unreadable
from collector.errors import LeaseLost
from collector.pipeline import Read
from collector.settings_sparkplug import SparkplugDevice
from collector.sources.sparkplug.findings import Doubt, Finding, Heard, Rebirth, ShotFound, StateFound
from collector.sources.sparkplug.host import Arrived, Connected, Host, Lost
from collector.sources.sparkplug.payload import decode
from collector.sources.sparkplug.session import EdgeNode
from collector.sources.sparkplug.shots import shot_of, state_of
from collector.sources.sparkplug.topics import read_topic

__all__ = ["SOURCE", "Reading", "SparkplugWork"]

log = logging.getLogger("evenrun.sparkplug")

SOURCE = "sparkplug"
LOOK_S = 0.2
MOST_AT_ONCE = 200
UNDIGESTED = Unreadable(
    "undigested",
    "evenrun could not digest this message, though it reads well; its log says why",
    "report it with the log",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a payload is read with.

    Attributes
    ----------
    site : str
    policy : Policy
        What is let in.
    now, wall : callable
        Service and wall time.
    monotonic : callable
        Seconds, for the reorder timeout.
    """

    site: str
    policy: Policy
    now: Callable[[], datetime]
    wall: Callable[[], datetime]
    monotonic: Callable[[], float] = time.monotonic

    def frame(self, press: str) -> Frame:
        """For a message of a press that came just now."""
        return Frame(self.site, press, self.now(), self.wall(), SOURCE, self.policy)


class SparkplugWork:
    """Every mapped edge node of a site.

    Parameters
    ----------
    host : Host
    devices : sequence of SparkplugDevice
    reading : Reading
    take : callable
        Take records until the store has them, or an event is set.
    reorder_s : float
        Reorder timeout, in seconds.
    """

    def __init__(
        self,
        host: Host,
        devices: Sequence[SparkplugDevice],
        reading: Reading,
        *,
        take: Callable[[list[Read], threading.Event], object],
        reorder_s: float,
    ) -> None:
        self.failure: BaseException | None = None
        self._host = host
        self._reading = reading
        self._take = take
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sparkplug", daemon=True)
        self._nodes = _nodes(devices, reorder_s)

    @property
    def problem(self) -> str | None:
        """What is wrong with the connection; None when it stands."""
        return self._host.problem

    def start(self) -> None:
        """Connect and begin."""
        self._host.start()
        self._thread.start()

    def stop(self, *, wait_s: float) -> None:
        """Let the records in hand be finished for a while, and disconnect."""
        self._stop.set()
        self._thread.join(wait_s)
        self._host.close()

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                records = list(self._round())
                if records:
                    self._take(records, self._stop)
        except LeaseLost as error:
            log.warning("%s", error)
        except Exception as error:  # noqa: BLE001 - the main thread raises it again
            self.failure = error

    def _round(self) -> Iterator[Read]:
        """The records of what came, and of what did not come in time."""
        came = self._host.next(LOOK_S)
        for _ in range(MOST_AT_ONCE):
            if came is None:
                break
            yield from self._read(came)
            came = self._host.next(0.0)
        for node in self._nodes.values():
            yield from self._records(node.look(now_s=self._reading.monotonic()), None)

    def _read(self, came: Arrived | Connected | Lost) -> Iterator[Read]:
        now_s = self._reading.monotonic()
        if isinstance(came, Lost):
            for node in self._nodes.values():
                node.lose()
        elif isinstance(came, Connected):
            for node in self._nodes.values():
                yield from self._records(node.ask_for_births(now_s=now_s), None)
        else:
            yield from self._message(came, now_s)

    def _message(self, came: Arrived, now_s: float) -> Iterator[Read]:
        topic = read_topic(came.topic)
        edge_node = None if topic is None else self._nodes.get((topic.group, topic.node))
        if topic is None or edge_node is None:
            return  # our own command, or that of another host
        try:
            heard = Heard(topic, decode(came.payload), came.payload, came.topic)
        except Unreadable as why:
            yield self._refused(why, came.topic, came.payload, "")
            return
        try:
            yield from self._records(edge_node.take(heard, now_s=now_s), heard)
        except Exception:  # whatever it is, it must not stop the other messages
            log.exception("a message on %s cannot be digested and is kept", came.topic)
            yield self._refused(UNDIGESTED, came.topic, came.payload, _place(heard))

    def _records(self, findings: Iterable[Finding], heard: Heard | None) -> Iterator[Read]:
        for each in findings:
            match each:
                case ShotFound():
                    yield self._shot(each)
                case StateFound():
                    yield self._state(each, heard)
                case Doubt():
                    yield self._refused(each.why, each.heard.full_topic, each.heard.raw, _place(each.heard))
                case Rebirth():
                    log.info("asks edge node %s of %s for its births: %s", each.node, each.group, each.why)
                    self._host.ask_for_births(each.group, each.node)

    def _shot(self, found: ShotFound) -> Read:
        heard = found.heard
        try:
            made = shot_of(found, self._reading.frame(found.device.press))
        except Unreadable as why:
            return self._refused(why, heard.full_topic, heard.raw, _place(heard))
        return _as_read(made, heard)

    def _state(self, found: StateFound, heard: Heard | None) -> Read:
        return _as_read(state_of(found, self._reading.frame(found.device.press)), heard)

    def _refused(self, why: Unreadable, topic: str, raw: bytes, place: str) -> Read:
        refusal = Refusal(
            reason=why.reason, detail=why.detail, remedy=why.remedy, raw=raw, source=SOURCE,
            position=f"{topic} {place}".strip(), topic=topic, received_at=self._reading.wall(),
        )  # fmt: skip
        return Read(refusal, raw, refusal.position, topic)


def _nodes(devices: Sequence[SparkplugDevice], reorder_s: float) -> dict[tuple[str, str], EdgeNode]:
    of_node: dict[tuple[str, str], list[SparkplugDevice]] = {}
    for each in devices:
        of_node.setdefault((each.group, each.edge_node), []).append(each)
    return {name: EdgeNode(*name, mapped, reorder_s) for name, mapped in of_node.items()}


def _as_read(made: Message, heard: Heard | None) -> Read:
    if heard is None:
        return Read(made, b"", SOURCE, None)
    return Read(made, heard.raw, f"{heard.full_topic} {_place(heard)}", heard.full_topic)


def _place(heard: Heard) -> str:
    return f"seq {heard.payload.seq} at {heard.payload.at_ms} ms"
