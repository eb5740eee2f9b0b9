"""What the service publishes: information for a stack light or a plant system, no safety function."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Literal

from collector.contract.times import to_text

AlarmState = Literal[
    "normal",
    "active_unacknowledged",
    "active_acknowledged",
    "returned_unacknowledged",
    "latched_unacknowledged",
    "latched_acknowledged",
    "shelved",
    "suppressed_by_design",
    "out_of_service",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmMessage:
    """State of the alarms of one press, published retained.

    `active` is what a lamp shows: some alarm of the press asks for a person. `state` is the alarm's
    state in the words of IEC 62682; `sentence` says what moved, since when and what to hold.
    """

    site: str
    press: str
    at: datetime
    active: bool
    state: AlarmState
    alarm: int | None
    sentence: str
    characteristics: tuple[str, ...]
    since_counter: int | None
    hold: tuple[str, ...]

    def payload(self) -> bytes:
        """JSON text of the message."""
        return _payload(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectorState:
    """Whether the collector of a site runs; the same topic carries its last will."""

    site: str
    at: datetime
    state: Literal["online", "offline"]
    reason: str | None

    def payload(self) -> bytes:
        """JSON text of the message."""
        return _payload(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalHead:
    """The end of the journal's chain, once a day: who keeps it can tell later whether all before it stands.

    `entry` is the number of the newest entry, `digest` its digest in hexadecimal, `wall_at` real time.
    """

    site: str
    at: datetime
    entry: int
    digest: str
    wall_at: str

    def payload(self) -> bytes:
        """JSON text of the message."""
        return _payload(self)


def _payload(message: AlarmMessage | CollectorState | JournalHead) -> bytes:
    members = asdict(message)
    members["at"] = to_text(message.at)
    return json.dumps(members, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
