"""What could not be read: kept with its bytes, a reason and a remedy, so that it can be replayed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Reason = Literal[
    "absurd_time",
    "bad_file",
    "bad_topic",
    "duplicate_key",
    "missing_column",
    "missing_field",
    "missing_unit",
    "no_birth",
    "not_finite",
    "not_json",
    "not_protobuf",
    "out_of_range",
    "press_mismatch",
    "ragged_row",
    "too_deep",
    "too_large",
    "undigested",
    "unknown_key",
    "unknown_press",
    "unknown_unit",
    "wrong_decimal_mark",
    "wrong_type",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A message or row that was not taken.

    Attributes
    ----------
    reason : str
        Short code, one of `Reason`.
    detail : str
        What is wrong and where: a JSON pointer (RFC 6901), or row and column.
    remedy : str
        What to do about it.
    raw : bytes
        The message or row as it came, cut to what the store keeps by the writer, not here.
    source, position : str
        Where it came from and where in it: ``shots.csv`` and ``shots.csv:17``.
    topic : str or None
        MQTT topic, None for files.
    received_at : datetime
        Aware, UTC.
    """

    reason: Reason
    detail: str
    remedy: str
    raw: bytes
    source: str
    position: str
    topic: str | None
    received_at: datetime

    def sentence(self) -> str:
        """Detail and remedy in one sentence."""
        return f"{self.detail}; {self.remedy}."
