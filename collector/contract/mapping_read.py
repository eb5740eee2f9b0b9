"""The mappings of a site together: which one takes a message, and what it makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from collector.contract.mapping_apply import apply, fits
from collector.contract.mapping_mapped import Mapped
from collector.contract.mapping_model import JsonMapping
from collector.contract.mapping_topic import TopicMatch, covers, match_topic, subscription_filter
from collector.contract.unreadable import Unreadable, shown


@dataclass(frozen=True, slots=True)
class Mappings:
    """The mappings of a site in the order of the settings; the first whose topic and conditions fit is it.

    Attributes
    ----------
    mappings : sequence of JsonMapping
    site : str
        The site that its messages are of, and that ``{site}`` in a topic stands for.
    """

    mappings: tuple[JsonMapping, ...] = ()
    site: str = ""

    def filters(self) -> tuple[str, ...]:
        """What to subscribe to; a topic of two filters might come twice, so none lies within another."""
        wanted = list(dict.fromkeys(subscription_filter(each.topic, self.site) for each in self.mappings))
        return tuple(each for each in wanted if not any(covers(other, each) for other in wanted))

    def of_topic(self, topic: str) -> list[tuple[JsonMapping, TopicMatch]]:
        """The mappings whose topic takes `topic`."""
        found = [(each, match_topic(each.topic, self.site, topic)) for each in self.mappings]
        return [(mapping, match) for mapping, match in found if match is not None]


def make(
    candidates: Sequence[tuple[JsonMapping, TopicMatch]], document: Any, *, now: datetime
) -> Mapped:
    """The message that the first fitting mapping makes of a document.

    Raises
    ------
    Unreadable
        When no mapping's conditions are met, or the message is not what the mapping says.
    """
    for mapping, match in candidates:
        if fits(mapping, document):
            return apply(mapping, match.press, document, now=now)
    names = " and ".join(shown(mapping.name) for mapping, _ in candidates[:3])
    raise Unreadable(
        "bad_topic",
        f"the message meets the conditions (when) of none of its topic's mappings, {names}",
        "mend when in the mapping, add a mapping for such messages, or narrow the topic",
    )


def check_together(mappings: Sequence[JsonMapping]) -> None:
    """Hold the mappings against each other.

    Raises
    ------
    ValueError
        When two have one name, or one can never be reached.
    """
    taken: set[str] = set()
    names: set[str] = set()
    for each in mappings:
        if each.name in names:
            raise ValueError(f"two mappings are called {each.name!r}; give each a name of its own")
        if each.topic in taken:
            raise ValueError(
                f"mapping {each.name!r} is never reached, since one before it takes every message of "
                f"{each.topic}; give the first one a condition (when), or remove one"
            )
        names.add(each.name)
        if not each.when:
            taken.add(each.topic)
