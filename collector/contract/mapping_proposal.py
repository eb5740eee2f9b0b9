"""A mapping proposed for messages that none takes: TOML to check, with every doubt marked.

What is proposed reads as a mapping; it is a beginning for a person, who knows the press.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from collector.contract import mapping_toml as toml
from collector.contract.mapping_draft import Draft, Proposal
from collector.contract.mapping_mapped import look
from collector.contract.mapping_shape import Shape
from collector.contract.mapping_topics import group_topics
from collector.contract.mapping_words import has_role


def propose(
    documents: Mapping[str, Sequence[Any]], *, site: str, names: Sequence[str] = ()
) -> list[Proposal]:
    """Propose mappings for messages.

    Parameters
    ----------
    documents : mapping of str to sequence
        Decoded messages by topic.
    site : str
        Own site.
    names : sequence of str
        Names that mappings have already.

    Returns
    -------
    list of Proposal
        One for each kind of message that was told apart.
    """
    shapes = {topic: _shape(known) for topic, known in documents.items()}
    places = {
        topic: frozenset(each.pointer for each in shape.places.values()) for topic, shape in shapes.items()
    }
    taken, found = set(names), []
    for group in group_topics(places, site):
        known = [document for topic in group.topics for document in documents[topic]]
        for when, chosen in _by_kind(known):
            found.append(Draft(group, when, _shape(chosen), len(chosen)).proposal(taken))
    return found


def _shape(documents: Sequence[Any]) -> Shape:
    shape = Shape()
    for document in documents:
        shape.add(document)
    return shape


def _by_kind(documents: Sequence[Any]) -> list[tuple[dict[str, str], list[Any]]]:
    """The messages apart by a member that names their kind, when they differ in it."""
    for place in _shape(documents).places.values():
        seen = list(dict.fromkeys(each for each in place.values if isinstance(each, str)))
        if place.steps and has_role(place.steps[-1], "kind") and 1 < len(seen) <= 10:
            apart = [
                ({place.pointer: kind}, [each for each in documents if look(each, place.pointer) == kind])
                for kind in seen
            ]
            if all(chosen for _, chosen in apart) and all(map(toml.can_be_written, (place.pointer, *seen))):
                return apart
    return [({}, list(documents))]
