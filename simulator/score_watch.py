"""What does the real service make of a story? Every story gets a shop of its own, which goes through the
qualification and then takes production in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256

from collector.alarms.measures import Measures
from collector.settings import Settings
from simulator.messages import to_message
from simulator.records import SimRecord, SimShot
from simulator.scenarios import Story
from simulator.score_alarms import Raised
from simulator.score_shop import Shop, Standings

QUALIFICATION_BATCH = 100


@dataclass(frozen=True, slots=True)
class Watched:
    """What the service concluded from a story: alarms in order, standings of the approved limits by press and
    key, and how much its alarms asked of people, by the measures of the standard."""

    alarms: tuple[Raised, ...]
    standings: Standings
    load: Measures


def watch(story: Story, settings: Settings) -> Watched:
    """Let the service take a story in.

    Parameters
    ----------
    story : Story
        Not read before.
    settings : Settings
        The database in it is not used.

    Returns
    -------
    Watched
    """
    records = list(story)
    produced = 1 + max(n for n, record in enumerate(records) if _run(record) in story.qualification)
    shop = Shop(settings, story.start - timedelta(days=2))
    try:
        standings = _qualified(shop, story, records[:produced], settings)
        shop.take(records[produced:], most=1)
        return Watched(shop.alarms(), standings, shop.load(since=story.start))
    finally:
        shop.close()


@dataclass(frozen=True, slots=True)
class _Qualified:
    """A store after a qualification that other stories of the same presses and seed begin with, too."""

    store: bytes
    standings: Standings


_KNOWN: dict[bytes, _Qualified] = {}
_MOST_KNOWN = 16


def _qualified(shop: Shop, story: Story, records: Sequence[SimRecord], settings: Settings) -> Standings:
    """Go through the qualification; where this process has seen the same messages, take what came of it."""
    shop.learn(records)
    seen = sha256(repr((settings.charts, story.start)).encode())
    for record in records:
        seen.update(to_message(record).payload)
    key = seen.digest()
    if key not in _KNOWN:
        shop.qualify_recipes(records, story.qualification)
        shop.take(records, most=QUALIFICATION_BATCH)
        standings = shop.approve(story.qualification, at=story.start)
        if len(_KNOWN) == _MOST_KNOWN:
            del _KNOWN[next(iter(_KNOWN))]
        _KNOWN[key] = _Qualified(shop.store(), standings)
    else:
        shop.restore(_KNOWN[key].store, at=story.start)
    return _KNOWN[key].standings


def _run(record: SimRecord) -> str | None:
    return record.run if isinstance(record, SimShot) else record.payload.get("run")
