"""Parts of the presses of a site: how many, what they are called, and which topic is in which.

Pure. A press stays in one part whatever is added besides, since only its name decides.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from zlib import crc32

from collector.contract.mapping_read import Mappings
from collector.contract.topics import read_topic

__all__ = ["FIRST", "names", "part_of", "press_of_topic", "takes"]

FIRST = 1  # takes gaugings, and whatever does not say by its topic which press it is of


def names(client_id: str, parts: int) -> list[tuple[str, int]]:
    """The name, which is the MQTT client id, and the number of each part.

    >>> names("evenrun-collector", 1)
    [('evenrun-collector', 1)]
    >>> names("evenrun-collector", 2)
    [('evenrun-collector-1-of-2', 1), ('evenrun-collector-2-of-2', 2)]
    """
    if parts == 1:
        return [(client_id, FIRST)]
    return [(f"{client_id}-{part}-of-{parts}", part) for part in range(1, parts + 1)]


def part_of(press: str | None, parts: int) -> int:
    """The part that a press is in, from 1; None is what names no press."""
    return FIRST if press is None else crc32(press.encode()) % parts + 1


def press_of_topic(topic: str, mappings: Mappings) -> str | None:
    """The press that a topic names, in our words; None when only the message says it, or nothing does.

    A foreign gateway whose messages name the press inside is in the first part with all its presses.
    """
    ours = read_topic(topic)
    if ours is not None:
        return ours.press
    for mapping, match in mappings.of_topic(topic):
        named = mapping.press or match.press
        if named is not None:
            return mapping.presses.get(named, named)
    return None


def takes(part: int, parts: int, mappings: Mappings) -> Callable[[str], bool]:
    """Whether a message of a topic is in this part."""
    if parts == 1:
        return lambda _topic: True

    @lru_cache(maxsize=8192)
    def taken(topic: str) -> bool:
        return part_of(press_of_topic(topic, mappings), parts) == part

    return taken
