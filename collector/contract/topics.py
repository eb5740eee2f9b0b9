"""Topics of message contract version 1: building them and taking them apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

ROOT = "evenrun/1"
Kind = Literal["shot", "run", "tray", "setpoints", "state", "gauging"]
PRESS_KINDS: tuple[Kind, ...] = ("shot", "run", "tray", "setpoints", "state")

# The collector's own state stands where a press would; so no press can have this name.
RESERVED_PRESS = "collector"


@dataclass(frozen=True, slots=True)
class Topic:
    """What a topic says: the site, the press (None for gaugings) and the kind of message."""

    site: str
    press: str | None
    kind: Kind


def press_topic(site: str, press: str, kind: Kind) -> str:
    """Topic of a message of one press, such as ``evenrun/1/lowland/P1/shot``."""
    return f"{ROOT}/{_name(site)}/{_name(press)}/{kind}"


def gauging_topic(site: str) -> str:
    """Topic of gaugings of a site."""
    return f"{ROOT}/{_name(site)}/gauging"


def alarm_topic(site: str, press: str) -> str:
    """Outgoing topic with the retained alarm state of one press."""
    return f"{ROOT}/{_name(site)}/{_name(press)}/alarm"


def collector_state_topic(site: str) -> str:
    """Outgoing topic with the retained state of the collector; also its last will."""
    return f"{ROOT}/{_name(site)}/{RESERVED_PRESS}/state"


def journal_topic(site: str) -> str:
    """Outgoing topic with the retained head of the journal, once a day."""
    return f"{ROOT}/{_name(site)}/{RESERVED_PRESS}/journal"


def subscriptions(site: str) -> tuple[str, ...]:
    """Filters that a collector of one site subscribes to."""
    site = _name(site)
    return (*(f"{ROOT}/{site}/+/{kind}" for kind in PRESS_KINDS), gauging_topic(site))


@lru_cache(maxsize=8192)
def read_topic(topic: str) -> Topic | None:
    """Take a topic apart, or None when it is none of this contract's incoming ones."""
    if not topic.startswith(ROOT + "/"):
        return None
    parts = topic[len(ROOT) + 1 :].split("/")
    if not all(is_name(part) for part in parts):
        return None
    if len(parts) == 2 and parts[1] == "gauging":
        return Topic(parts[0], None, "gauging")
    if len(parts) != 3 or parts[1] == RESERVED_PRESS:
        return None
    return next((Topic(parts[0], parts[1], kind) for kind in PRESS_KINDS if kind == parts[2]), None)


def is_name(text: str) -> bool:
    """Whether `text` can name a site or a press: printable, without the signs MQTT keeps for itself."""
    return 0 < len(text) <= 100 and text.isprintable() and not any(sign in text for sign in "+#/")


def is_press_name(text: str) -> bool:
    """Whether `text` can name a press."""
    return is_name(text) and text != RESERVED_PRESS


def _name(text: str) -> str:
    if not is_name(text):
        raise ValueError(f"{text!r} cannot be part of a topic: use 1 to 100 printable signs without + # /")
    return text
