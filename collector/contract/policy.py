"""What a site lets in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from collector.contract.mapping_read import Mappings

NO_MAPPINGS = Mappings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """Bounds that `parse` holds a message against.

    Attributes
    ----------
    max_bytes : int
        Largest payload in bytes.
    max_depth : int
        Deepest nesting of JSON objects and lists.
    max_members : int
        Most members of JSON objects and items of lists in one message.
    max_age, max_ahead : timedelta
        How far behind and ahead of the service clock a time may lie.
    known_presses : frozenset of str or None
        Presses of the site; None takes any name.
    mappings : Mappings
        What is made of messages on topics of others.
    """

    max_bytes: int = 65536
    max_depth: int = 8
    max_members: int = 4096
    max_age: timedelta = timedelta(days=400)
    max_ahead: timedelta = timedelta(minutes=10)
    known_presses: frozenset[str] | None = None
    mappings: Mappings = NO_MAPPINGS
