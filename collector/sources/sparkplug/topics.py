"""Topics of Sparkplug B: building them and taking them apart (ISO/IEC 20237:2023, chapter 4)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast, get_args

__all__ = ["Kind", "NodeTopic", "is_id", "node_filter", "read_topic", "rebirth_topic", "state_topic"]

NAMESPACE = "spBv1.0"
Kind = Literal["NBIRTH", "NDATA", "NDEATH", "DBIRTH", "DDATA", "DDEATH"]
_KINDS = get_args(Kind)
LEVELS_OF_NODE, LEVELS_OF_DEVICE = 4, 5


@dataclass(frozen=True, slots=True)
class NodeTopic:
    """What a topic says; `device` is None for the edge node's own messages."""

    group: str
    kind: Kind
    node: str
    device: str | None


def read_topic(topic: str) -> NodeTopic | None:
    """Take a topic apart; None for commands, STATE, and whatever is none of Sparkplug's."""
    levels = topic.split("/")
    if levels[0] != NAMESPACE or len(levels) not in {LEVELS_OF_NODE, LEVELS_OF_DEVICE}:
        return None
    kind = levels[2]
    of_device = len(levels) == LEVELS_OF_DEVICE
    if kind not in _KINDS or of_device != kind.startswith("D"):
        return None
    return NodeTopic(levels[1], cast(Kind, kind), levels[3], levels[4] if of_device else None)


def node_filter(group: str, node: str) -> str:
    """Filter of everything an edge node and its devices send; the last level takes its parent too."""
    return f"{NAMESPACE}/{group}/+/{node}/#"


def state_topic(host_id: str) -> str:
    """Topic of the retained STATE of a host application."""
    return f"{NAMESPACE}/STATE/{host_id}"


def rebirth_topic(group: str, node: str) -> str:
    """Topic of commands to an edge node."""
    return f"{NAMESPACE}/{group}/NCMD/{node}"


def is_id(text: str) -> bool:
    """Whether a text can be an id of a group, an edge node, a device or a host."""
    return 0 < len(text) <= 200 and text.isprintable() and not any(sign in text for sign in "+#/")
