"""What is found in the messages of an edge node."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from collector.contract.unreadable import Unreadable
from collector.settings_sparkplug import SparkplugDevice
from collector.sources.sparkplug.payload import Metric, Payload
from collector.sources.sparkplug.topics import NodeTopic

__all__ = ["Doubt", "Finding", "Heard", "Rebirth", "ShotFound", "StateFound"]


@dataclass(frozen=True, slots=True)
class Heard:
    """A message as it came."""

    topic: NodeTopic
    payload: Payload
    raw: bytes
    full_topic: str


@dataclass(frozen=True, slots=True)
class ShotFound:
    """A shot has ended: what is known of its metrics by name, and when (ms since 1970; None: not said)."""

    device: SparkplugDevice
    metrics: Mapping[str, Metric]
    at_ms: int | None
    heard: Heard


@dataclass(frozen=True, slots=True)
class StateFound:
    """A press came or went, just now: a will was written long before."""

    device: SparkplugDevice
    online: bool
    reason: str | None


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something of a message could not be read."""

    why: Unreadable
    heard: Heard


@dataclass(frozen=True, slots=True)
class Rebirth:
    """An edge node should be asked for its births."""

    group: str
    node: str
    why: str


Finding = ShotFound | StateFound | Doubt | Rebirth
