"""What messages would become under the present settings; nothing is stored.

A trial of the intake alone, for `evenrun listen` and `evenrun mapping test`: the same `parse`, the same
bounds, the same mappings as the collector's.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from collector.contract import topics
from collector.contract.bodies import Message
from collector.contract.mapping_draft import Proposal
from collector.contract.mapping_proposal import propose
from collector.contract.mapping_read import make
from collector.contract.messages import (
    GaugingMessage,
    RunMessage,
    SetpointsMessage,
    StateMessage,
    TrayMessage,
)
from collector.contract.parse import parse
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.strict_json import decode_any
from collector.contract.topics import read_topic
from collector.contract.unreadable import Unreadable
from collector.sources.incoming import Incoming
from collector.sources.recorded import Heard
from collector.sources.sparkplug.shown import is_sparkplug, metrics_of

__all__ = ["MappingTrial", "TopicTrial", "Trial"]

MOST_TOPICS = 1000
_KEPT = 100  # messages a topic that a proposal is made from,
_KEPT_BYTES = 50_000_000  # and how large all of them may be
_SENTENCES = 3
_LEAST_S = 1.0  # two gaugings of one disc come at once; that is no pace
_FIRST = 4
_MOST_PRESSES = 200
_KINDS: dict[type, str] = {
    RunMessage: "run", TrayMessage: "tray", SetpointsMessage: "setpoints", StateMessage: "state",
    GaugingMessage: "gauging",
}


@dataclass(slots=True)
class TopicTrial:
    """What came on one topic and what it would become.

    Attributes
    ----------
    becomes : Counter of (str, str)
        Kind and press of the messages that read.
    refused : Counter of str
        Reasons of those that do not.
    sentences : list of str
        The first different refusals in words.
    mapped : bool
        Whether it is the contract's own topic or one of a mapping.
    ours : bool
        Whether evenrun itself publishes it.
    first_at, last_at : datetime or None
        Real time of the first and the last message that came as it was published, not as a retained one.
    fields : list of (str, str)
        First places of the first JSON message, with their values.
    documents : list
        The first messages, for a proposal.
    not_json : str or None
        Why the first message that is no JSON is none.
    metrics : list of (str, str) or None
        Of Sparkplug B: the metrics of the first message with their values; None on other topics.
    example : message or None
        What the first message that reads becomes.
    """

    topic: str
    first_at: datetime | None = None
    last_at: datetime | None = None
    count: int = 0
    retained: int = 0
    size: int = 0
    becomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    sentences: list[str] = field(default_factory=list)
    mapped: bool = False
    ours: bool = False
    fields: list[tuple[str, str]] = field(default_factory=list)
    documents: list[Any] = field(default_factory=list)
    not_json: str | None = None
    metrics: list[tuple[str, str]] | None = None
    example: Message | None = None

    def count_as(self, kind: str, press: str) -> None:
        """Count a message that reads; names of presses come from anybody, so only so many are told apart."""
        known = (kind, press) in self.becomes or len(self.becomes) < _MOST_PRESSES
        self.becomes[kind, press if known else "others"] += 1

    def per_minute(self) -> float | None:
        """Messages a minute of real time; None where they came too close together to tell."""
        if self.first_at is None or self.last_at is None:
            return None
        seconds = (self.last_at - self.first_at).total_seconds()
        return 60.0 * (self.count - self.retained - 1) / seconds if seconds >= _LEAST_S else None

    def note_time(self, heard: Heard) -> None:
        """A retained message was published before anybody listened: it says nothing of the pace."""
        if not heard.retained:
            self.first_at = self.first_at or heard.real_at
            self.last_at = max(self.last_at or heard.real_at, heard.real_at)


@dataclass(slots=True)
class MappingTrial:
    """How one mapping did: messages taken by it, refused under it, and pointers that led nowhere."""

    name: str
    taken: int = 0
    refused: int = 0
    absent: Counter[str] = field(default_factory=Counter)

    def never_found(self) -> list[str]:
        """Pointers to which no message had anything."""
        return [where for where, count in self.absent.items() if count == self.taken and self.taken]


class Trial:
    """Reads messages as the collector would, and counts.

    Parameters
    ----------
    policy : Policy
        Bounds and mappings, as the collector has them.
    site : str
        Own site.
    """

    def __init__(self, policy: Policy, site: str) -> None:
        self._policy = policy
        self._site = site
        self.topics: dict[str, TopicTrial] = {}
        self.mappings = {each.name: MappingTrial(each.name) for each in policy.mappings.mappings}
        self.left_out = 0
        self._room = _KEPT_BYTES

    def add(self, heard: Heard) -> TopicTrial | None:
        """Read one message; None when there are too many topics to tell them apart."""
        known = self.topics.get(heard.topic)
        if known is None:
            if len(self.topics) >= MOST_TOPICS:
                self.left_out += 1
                return None
            known = self.topics[heard.topic] = self._new(heard)
        known.count += 1
        known.retained += heard.retained
        known.size += len(heard.payload)
        known.note_time(heard)
        self._look_at(known, heard)
        if known.mapped:
            self._read(known, heard)
        return known

    def proposals(self) -> list[Proposal]:
        """Mappings proposed for the JSON that no mapping takes."""
        foreign = {
            topic: each.documents
            for topic, each in self.topics.items()
            if each.documents and not each.mapped and not each.ours
        }
        return propose(foreign, site=self._site, names=tuple(self.mappings))

    def counts(self) -> tuple[int, int, int]:
        """Messages that read, that are refused, and that belong to no mapping."""
        all_of = self.topics.values()
        read, refused = (sum(each.becomes.total() for each in all_of), sum(e.refused.total() for e in all_of))
        foreign = (each for each in all_of if not each.mapped and not each.ours and each.metrics is None)
        return read, refused, sum(each.count for each in foreign)

    def _new(self, heard: Heard) -> TopicTrial:
        contract = read_topic(heard.topic)
        own = heard.topic.startswith(f"{topics.ROOT}/") and contract is None
        mapped = contract is not None or bool(self._policy.mappings.of_topic(heard.topic))
        return TopicTrial(heard.topic, mapped=mapped, ours=own)

    def _look_at(self, known: TopicTrial, heard: Heard) -> None:
        """Keep the first messages of a topic, decoded."""
        if is_sparkplug(heard.topic):
            _look_at_metrics(known, heard)
            return
        if known.fields and (known.mapped or len(known.documents) >= _KEPT):
            return
        if len(heard.payload) > min(self._policy.max_bytes, self._room):
            return
        try:
            document = decode_any(
                heard.payload, max_depth=self._policy.max_depth, max_members=self._policy.max_members
            )
        except Unreadable as broken:
            known.not_json = known.not_json or broken.detail
            return
        if not known.fields:
            known.fields = _first_fields(document) or [("", repr(document))]  # {} says nothing, and is JSON
        if isinstance(document, dict | list) and not known.mapped:
            known.documents.append(document)
            self._room -= len(heard.payload)

    def _read(self, known: TopicTrial, heard: Heard) -> None:
        incoming = Incoming(heard.topic, heard.payload, "heard", heard.topic)
        found = parse(incoming, now=heard.at, received_at=heard.at, policy=self._policy)
        if isinstance(found, Refusal):
            known.refused[found.reason] += 1
            if len(known.sentences) < _SENTENCES and found.sentence() not in known.sentences:
                known.sentences.append(found.sentence())
        else:
            site = f" of site {found.site}, which this collector does not take" * (found.site != self._site)
            known.count_as(_kind(found), f"{found.press or 'no press'}{site}")
            known.example = known.example or found
        self._note_mapping(heard, taken=not isinstance(found, Refusal))

    def _note_mapping(self, heard: Heard, *, taken: bool) -> None:
        candidates = self._policy.mappings.of_topic(heard.topic)
        if read_topic(heard.topic) is not None or not candidates:
            return
        if not taken:
            self.mappings[candidates[0][0].name].refused += 1  # most topics have one
            return
        document = decode_any(
            heard.payload, max_depth=self._policy.max_depth, max_members=self._policy.max_members
        )
        made = make(candidates, document)
        mapping = self.mappings[made.mapping.name]
        mapping.taken += 1
        mapping.absent.update(set(made.absent))


def _look_at_metrics(known: TopicTrial, heard: Heard) -> None:
    if known.metrics:
        return
    try:
        known.metrics = metrics_of(heard.payload)
    except Unreadable as broken:
        known.not_json = known.not_json or broken.detail
        return
    known.fields = known.metrics[:_FIRST]


def _kind(message: Message) -> str:
    return _KINDS.get(type(message), "shot")


def _first_fields(document: Any, most: int = _FIRST) -> list[tuple[str, str]]:
    """The first places of a message and what stands there."""
    found: list[tuple[str, str]] = []
    waiting: list[tuple[str, Any]] = [("", document)]
    while waiting and len(found) < most:
        where, node = waiting.pop(0)
        if isinstance(node, dict):
            waiting[:0] = [(f"{where}/{name}", child) for name, child in list(node.items())[:most]]
        elif isinstance(node, list):
            waiting[:0] = [(f"{where}/{number}", child) for number, child in enumerate(node[:most])]
        else:
            found.append((where, repr(node)))
    return found
