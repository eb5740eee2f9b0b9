"""Topics of one kind as one pattern: which level is the press."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.contract.mapping_topic import check_pattern
from collector.contract.topics import is_press_name

_LIKE_A_PRESS = re.compile(r"(?:p|m|press|machine|mach|imm|mc)?[-_ ]?\d{1,4}", re.IGNORECASE)
_ALIKE = 0.7  # share of common places from which messages of two topics count as of one kind


@dataclass(frozen=True, slots=True)
class TopicGuess:
    """Topics that one pattern takes, and why the pattern is in doubt."""

    topics: tuple[str, ...]
    pattern: str
    doubt: str | None

    @property
    def has_press(self) -> bool:
        """Whether the pattern names the press."""
        return "{press}" in self.pattern


def group_topics(places: Mapping[str, frozenset[str]], site: str) -> list[TopicGuess]:
    """Put topics together whose messages look alike and whose names differ in one level.

    Parameters
    ----------
    places : mapping of str to frozenset of str
        By topic the pointers that its messages have.
    site : str
        Own site, whose name in a topic becomes ``{site}``.
    """
    groups: list[list[str]] = []
    for topic in places:
        for group in groups:
            if _goes_with(topic, group) and _alike(places[topic], places[group[0]]):
                group.append(topic)
                break
        else:
            groups.append([topic])
    return [_guess(group, site) for group in groups if _can_be_mapped(group)]


def _can_be_mapped(group: Sequence[str]) -> bool:
    return all(not topic.startswith("$") and "{" not in topic and _is_pattern(topic) for topic in group)


def _is_pattern(text: str) -> bool:
    try:
        check_pattern(text)
    except ValueError:
        return False
    return True


def _alike(one: frozenset[str], other: frozenset[str]) -> bool:
    return len(one & other) >= _ALIKE * len(one | other)


def _differing(topics: Sequence[str]) -> list[int]:
    """Levels in which the topics differ."""
    columns = zip(*(topic.split("/") for topic in topics), strict=True)
    return [number for number, names in enumerate(columns) if len(set(names)) > 1]


def _goes_with(topic: str, group: Sequence[str]) -> bool:
    same_length = topic.count("/") == group[0].count("/")
    return same_length and len(_differing([*group, topic])) == 1


def _guess(group: Sequence[str], site: str) -> TopicGuess:
    levels = group[0].split("/")
    doubt = None
    if len(group) > 1:
        (place,) = _differing(group)
        seen = ", ".join(topic.split("/")[place] for topic in group[:3])
        doubt = f"level {place + 1} is taken for the press, as it differs: {seen}"
    else:
        place = next((number for number, level in enumerate(levels) if _like_a_press(level)), -1)
        if place >= 0:
            doubt = f"level {place + 1}, {levels[place]!r}, looks like a press; only one such topic was heard"
    pattern = [
        "{press}" if number == place else "{site}" if level == site else level
        for number, level in enumerate(levels)
    ]
    return TopicGuess(tuple(group), _checked("/".join(pattern), group[0]), doubt)


def _like_a_press(level: str) -> bool:
    return bool(_LIKE_A_PRESS.fullmatch(level)) and is_press_name(level)


def _checked(pattern: str, topic: str) -> str:
    """The pattern, or the topic itself where the pattern would take evenrun's own topics."""
    return pattern if _is_pattern(pattern) else topic
