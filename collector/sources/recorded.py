"""Messages kept in a file to look at later: one JSON object a line, the payload in base64.

    {"time": "2026-11-24T10:00:00.120Z", "topic": "plant/7/cycle", "payload": "eyJh...", "retained": false}

Where the service's clock is not the wall's, a line has a `wall_time` as well.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from collector.contract.times import from_text, to_text
from collector.errors import UserError

__all__ = ["Heard", "line_of", "read_recorded"]

_LONGEST_LINE = 512 * 1024 * 1024  # more than the largest message of MQTT in base64


@dataclass(frozen=True, slots=True)
class Heard:
    """One message with the time of its arrival by the service clock, and by the wall's where given; aware."""

    topic: str
    payload: bytes
    at: datetime
    retained: bool = False
    wall_at: datetime | None = None

    @property
    def real_at(self) -> datetime:
        """Real time of the arrival."""
        return self.at if self.wall_at is None else self.wall_at


def line_of(heard: Heard) -> str:
    """The line of a message, with its end."""
    members = {
        "time": to_text(heard.at),
        "topic": heard.topic,
        "payload": base64.b64encode(heard.payload).decode("ascii"),
        "retained": heard.retained,
    }
    if heard.real_at != heard.at:
        members["wall_time"] = to_text(heard.real_at)
    return json.dumps(members) + "\n"


def read_recorded(path: Path) -> Iterator[Heard]:
    """Read the messages of a file, one at a time.

    Raises
    ------
    UserError
        When the file cannot be read, or a line is none of `line_of`.
    """
    try:
        with path.open(encoding="utf-8") as file:
            number = 0
            while line := file.readline(_LONGEST_LINE):
                number += 1
                if line.strip():
                    yield _read(line, f"line {number} of {path}")
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror}); check path and permissions") from error
    except UnicodeDecodeError as error:
        raise UserError(f"{path} is no text in UTF-8; make it with `evenrun listen --record`") from error


def _read(line: str, where: str) -> Heard:
    try:
        members: Any = json.loads(line)
        retained = members.get("retained", False)
        if not (isinstance(members["topic"], str) and isinstance(retained, bool)):
            raise ValueError("topic or retained is of the wrong type")
        payload = base64.b64decode(members["payload"], validate=True)
        wall_at = from_text(members["wall_time"]) if "wall_time" in members else None
        return Heard(members["topic"], payload, from_text(members["time"]), retained, wall_at)
    except KeyError as error:
        why = f"it has no {error}"
    except (ValueError, TypeError, AttributeError, OverflowError, RecursionError, binascii.Error):
        why = "it is no object with time, topic and a payload in base64"
    raise UserError(f"{where} is no recorded message: {why}; make the file with `evenrun listen --record`")
