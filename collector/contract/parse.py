"""From bytes to a message or a refusal. Parsing never raises."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from collector.contract import members as read
from collector.contract.bodies import BODIES, Frame, Message
from collector.contract.mapping_read import make
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.strict_json import Members, decode, decode_any
from collector.contract.topics import Topic, read_topic
from collector.contract.unreadable import Unreadable, shown

__all__ = ["Arrival", "Message", "Policy", "parse"]


class Arrival(Protocol):
    """What `parse` needs of an incoming message; `collector.sources.incoming.Incoming` is one."""

    @property
    def topic(self) -> str: ...
    @property
    def payload(self) -> bytes: ...
    @property
    def source(self) -> str: ...
    @property
    def position(self) -> str: ...


def parse(incoming: Arrival, *, now: datetime, received_at: datetime, policy: Policy) -> Message | Refusal:
    """Read one message.

    Parameters
    ----------
    incoming : Arrival
        Topic and bytes, with where they came from.
    now : datetime
        Service clock, aware: what an absurd time is measured against.
    received_at : datetime
        When the message arrived, aware.
    policy : Policy
        Bounds on size, nesting, times and presses.

    Returns
    -------
    Shot, RunMessage, TrayMessage, SetpointsMessage, StateMessage, GaugingMessage or Refusal
        A refusal says what is wrong, where, and what to do; nothing is raised.
    """
    try:
        return _read(incoming, now, received_at, policy)
    except Unreadable as broken:
        return Refusal(
            reason=broken.reason,
            detail=broken.detail,
            remedy=broken.remedy,
            raw=incoming.payload,
            source=incoming.source,
            position=incoming.position,
            topic=incoming.topic,
            received_at=received_at,
        )


def _read(incoming: Arrival, now: datetime, received_at: datetime, policy: Policy) -> Message:
    if len(incoming.payload) > policy.max_bytes:
        raise Unreadable(
            "too_large",
            f"the message has {len(incoming.payload)} bytes, more than {policy.max_bytes}",
            "send one shot a message without curves",
        )
    topic = read_topic(incoming.topic)
    if topic is None:
        return _read_foreign(incoming, now, received_at, policy)
    members = decode(incoming.payload, max_depth=policy.max_depth, max_members=policy.max_members)
    press = _press(topic, members, policy)
    return BODIES[topic.kind](members, Frame(topic.site, press, now, received_at, incoming.source, policy))


def _read_foreign(incoming: Arrival, now: datetime, received_at: datetime, policy: Policy) -> Message:
    """Read a message of somebody else's making by the mapping of its topic."""
    candidates = policy.mappings.of_topic(incoming.topic)
    if not candidates:
        raise Unreadable(
            "bad_topic",
            f"topic {shown(incoming.topic, 120)} is none of contract version 1 and of no mapping",
            "publish to evenrun/1/SITE/PRESS/shot, run, tray, setpoints or state, or evenrun/1/SITE/gauging, "
            "or add a mapping",
        )
    document = decode_any(incoming.payload, max_depth=policy.max_depth, max_members=policy.max_members)
    made = make(candidates, document, now=now)
    _check_known(made.press, policy)
    frame = Frame(policy.mappings.site, made.press, now, received_at, incoming.source, policy)
    try:
        return BODIES[made.mapping.kind](made.members, frame)
    except Unreadable as broken:
        raise made.explained(broken) from None


def _press(topic: Topic, members: Members, policy: Policy) -> str:
    """Press of a message: named by its topic, or in a gauging by its own member ("" when not at all)."""
    named = read.text(members, "press")
    if topic.press is not None and named is not None and named != topic.press:
        raise Unreadable(
            "press_mismatch",
            f"/press is {shown(named)} but the topic says {shown(topic.press)}",
            "let the gateway publish each press under its own topic",
        )
    press = topic.press or named or ""
    _check_known(press, policy)
    return press


def _check_known(press: str, policy: Policy) -> None:
    if press and policy.known_presses is not None and press not in policy.known_presses:
        raise Unreadable(
            "unknown_press",
            f"press {shown(press)} is not among the known presses of the site",
            "add it to the settings, or mend the name in the gateway",
        )
