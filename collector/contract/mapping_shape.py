"""What stands where in messages of one kind: every place with the values that were seen there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from collector.contract.mapping_pointer import Steps, write_pointer

_NAME_MEMBERS = ("name", "id", "key", "param", "parameter", "tag", "label", "signal")
_UNIT_MEMBERS = ("unit", "units", "uom")
_VALUE_MEMBERS = ("value", "val", "v", "actual", "act")
_MOST_PLACES = 300
_MOST_VALUES = 200


@dataclass(slots=True)
class Place:
    """One place in messages of a kind.

    Attributes
    ----------
    steps : tuple of str
        Way there; a named list counts as an object.
    names : tuple of str
        The same without the member that only says "value".
    values : list
        What stood there, not null.
    unit_steps : tuple of str or None
        Way to the unit that the sender gives.
    unit : str or None
        That unit in the first message.
    """

    steps: Steps
    names: tuple[str, ...]
    values: list[Any] = field(default_factory=list)
    unit_steps: Steps | None = None
    unit: str | None = None

    @property
    def pointer(self) -> str:
        """JSON pointer of the place."""
        return write_pointer(self.steps)


@dataclass(slots=True)
class Shape:
    """All places of messages of a kind, in the order of the first message, and its lists with names."""

    places: dict[Steps, Place] = field(default_factory=dict)
    named_lists: dict[Steps, str] = field(default_factory=dict)

    def add(self, document: Any) -> None:
        """Note what stands where in one more message."""
        for place, value in self._walk(document, ()):
            if place.steps not in self.places:
                if len(self.places) >= _MOST_PLACES:
                    continue
                self.places[place.steps] = place
            known = self.places[place.steps]
            if value is not None and len(known.values) < _MOST_VALUES:
                known.values.append(value)

    def _walk(self, node: Any, steps: Steps) -> Iterator[tuple[Place, Any]]:
        if isinstance(node, dict):
            yield from self._members(node, steps)
        elif isinstance(node, list):
            yield from self._items(node, steps)
        else:
            yield Place(steps, steps), node

    def _members(self, node: dict[str, Any], steps: Steps) -> Iterator[tuple[Place, Any]]:
        value, unit = _first(node, _VALUE_MEMBERS), _first(node, _UNIT_MEMBERS)
        for name, child in node.items():
            way = (*steps, name)
            if name == value and steps and not isinstance(child, dict | list):
                told = node.get(unit) if unit else None
                unit_steps = (*steps, unit) if unit and isinstance(told, str) else None
                yield Place(way, steps, [], unit_steps, told if unit_steps else None), child
            elif not (value and name in {unit, self._name_here(steps)}):
                yield from self._walk(child, way)

    def _name_here(self, steps: Steps) -> str | None:
        """The member with the item's name, inside of a named list."""
        return self.named_lists.get(steps[:-1])

    def _items(self, node: list[Any], steps: Steps) -> Iterator[tuple[Place, Any]]:
        member = self.named_lists.get(steps) or _name_member(node)
        if member is not None and _name_member(node) == member:
            self.named_lists[steps] = member
            for item in node:
                yield from self._walk(item, (*steps, item[member]))
        else:
            yield Place(steps, steps), node


def _first(node: dict[str, Any], names: Sequence[str]) -> str | None:
    return next((name for name in node if name.lower() in names), None)


def _name_member(node: list[Any]) -> str | None:
    """The member by which the items of a list are told apart, if they all have one."""
    if not node or not all(isinstance(item, dict) for item in node):
        return None
    for name in _first_of_each(node[0]):
        told = [item.get(name) for item in node]
        if all(isinstance(each, str) for each in told) and len(set(told)) == len(told):
            return name
    return None


def _first_of_each(item: dict[str, Any]) -> list[str]:
    return [name for name in item if name.lower() in _NAME_MEMBERS]
