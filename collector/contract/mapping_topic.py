"""Topic patterns of a mapping: MQTT filters with names for the levels that say site and press.

``plant/{site}/machine-{press}/cycle`` takes ``plant/lowland/machine-7/cycle``; ``+`` stands for any one
level and ``#``, at the end, for all that follow.

References
----------
OASIS MQTT Version 5.0, section 4.7 (topic names and topic filters).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from pydantic import AfterValidator

from collector.contract import topics

_NAMED = re.compile(r"([^{}+#]*)\{(site|press)\}([^{}+#]*)")


@dataclass(frozen=True, slots=True)
class TopicMatch:
    """What a topic said: the press, when the pattern has a place for it."""

    press: str | None


def check_pattern(text: str) -> str:
    """Give the pattern back, if it is one.

    Raises
    ------
    ValueError
        With what is wrong in one sentence.
    """
    levels = text.split("/")
    names = [match[2] for level in levels if (match := _NAMED.fullmatch(level))]
    if not text or len(text) > 1000 or "\0" in text:
        raise ValueError("a topic pattern has 1 to 1000 signs")
    for number, level in enumerate(levels):
        if level == "#" and number < len(levels) - 1:
            raise ValueError(f"{text!r} has # before its end; # stands for all the levels that follow")
        if level not in {"+", "#"} and not _NAMED.fullmatch(level) and set(level) & set("+#{}"):
            raise ValueError(f"{text!r} has the level {level!r}; use +, #, {{site}} or {{press}}")
    if len(set(names)) < len(names):
        raise ValueError(f"{text!r} names the same part twice; write + for one of them")
    if _takes_ours(text):
        raise ValueError(f"{text!r} would take evenrun's own topics; write the gateway's first level out")
    return text


Pattern = Annotated[str, AfterValidator(check_pattern)]


def _takes_ours(pattern: str) -> bool:
    # Later versions of the contract are ours as well, so its whole first level is.
    own = topics.ROOT.partition("/")[0]
    samples = (
        *(topics.press_topic("a", "b", kind) for kind in topics.PRESS_KINDS),
        topics.gauging_topic("a"),
        topics.alarm_topic("a", "b"),
        topics.collector_state_topic("a"),
    )
    return pattern.partition("/")[0] == own or any(match_topic(pattern, "a", each) for each in samples)


def has_press(pattern: str) -> bool:
    """Whether the pattern has a place for the press."""
    return "{press}" in pattern


def subscription_filter(pattern: str, site: str) -> str:
    """The MQTT filter to subscribe to: the site's own name, and + where a level is named otherwise."""
    levels = pattern.replace("{site}", site).split("/")
    return "/".join("+" if _NAMED.fullmatch(level) else level for level in levels)


def is_filter(text: str) -> bool:
    """Whether MQTT calls it a topic filter: wildcards alone in their level, # only at the end (4.7.1)."""
    levels = text.split("/")
    alone = all(level in {"+", "#"} or not set(level) & {"+", "#"} for level in levels)
    return bool(text) and alone and "#" not in levels[:-1] and "\0" not in text


def covers(wide: str, narrow: str) -> bool:
    """Whether one MQTT filter takes all that another takes, and more."""
    if wide == narrow or (narrow.endswith("#") and not wide.endswith("#")):
        return False
    return match_topic(wide, "", narrow) is not None


def match_topic(pattern: str, site: str, topic: str) -> TopicMatch | None:
    """What `topic` says by `pattern`, or None when the pattern does not take it."""
    found = _expression(pattern, site).fullmatch(topic)
    return None if found is None else TopicMatch(found.groupdict().get("press"))


@lru_cache(maxsize=1024)
def _expression(pattern: str, site: str) -> re.Pattern[str]:
    levels = pattern.split("/")
    if levels == ["#"]:
        return re.compile(".*", re.DOTALL)
    body = "/".join(_level(level, site) for level in levels if level != "#")
    # "sport/#" also takes "sport": section 4.7.1.2.
    return re.compile(body + "(?:/.*)?" if levels[-1] == "#" else body, re.DOTALL)


def _level(level: str, site: str) -> str:
    if level == "+":
        return "[^/]*"
    named = _NAMED.fullmatch(level)
    if named is None:
        return re.escape(level)
    middle = re.escape(site) if named[2] == "site" else "(?P<press>[^/]+)"
    return re.escape(named[1]) + middle + re.escape(named[3])
