"""What came on one topic, or through one mapping, and what it would become."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from collector.contract.bodies import Message
from collector.contract.refusal import Refusal
from collector.contract.unreadable import Unreadable
from collector.sources.recorded import Heard
from collector.sources.sparkplug.shown import metrics_of

_SENTENCES = 3
_LEAST_S = 1.0  # two gaugings of one disc come at once; that is no pace
_FIRST = 4
_MOST_PRESSES = 200


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

    def note_refusal(self, refusal: Refusal) -> None:
        """Count a message that is refused, and keep the first sentences that differ."""
        self.refused[refusal.reason] += 1
        if len(self.sentences) < _SENTENCES and refusal.sentence() not in self.sentences:
            self.sentences.append(refusal.sentence())

    def note_document(self, document: Any) -> None:
        """Keep what stands in the first JSON message."""
        if not self.fields:
            self.fields = _first_fields(document) or [("", repr(document))]  # {} says nothing, and is JSON

    def note_metrics(self, payload: bytes) -> None:
        """Keep the metrics of the first message of Sparkplug B that has some."""
        if self.metrics:
            return
        try:
            self.metrics = metrics_of(payload)
        except Unreadable as broken:
            self.not_json = self.not_json or broken.detail
            return
        self.fields = self.metrics[:_FIRST]

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
