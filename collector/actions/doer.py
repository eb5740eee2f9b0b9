"""Who does something: asked of every act of a person, and taken along where one act has several steps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from collector.clock import ServiceClock
from collector.errors import NotAllowed


@dataclass(frozen=True, slots=True, kw_only=True)
class Doer:
    """Who does something, when, and why."""

    who: str
    clock: ServiceClock
    now: datetime
    note: str | None = None


def named(name: str) -> None:
    """Refuse an act of nobody."""
    if not name.strip():
        raise NotAllowed("say who does this: choose a name")
