"""Lists of objects that carry their names, such as ``[{"name": "pmax", "value": 742}]``, made objects.

A JSON pointer can only count the items of a list; many gateways send them in any order.
"""

from __future__ import annotations

from typing import Any

from collector.contract.mapping_mapped import ABSENT, Mapped, look
from collector.contract.mapping_model import NamedList
from collector.contract.mapping_pointer import Steps, parse_pointer
from collector.contract.members import kind_of
from collector.contract.unreadable import shown


def with_names(made: Mapped, document: Any) -> Any:
    """The document with the named lists of its mapping as objects; one that is not there is passed over.

    Raises
    ------
    Unreadable
        When something else stands there, or a name comes twice.
    """
    for named in made.mapping.named_lists:
        items = look(document, named.pointer)
        if items is not ABSENT:
            document = _replaced(document, parse_pointer(named.pointer), _by_name(made, named, items))
    return document


def _by_name(made: Mapped, named: NamedList, items: Any) -> dict[str, Any]:
    if type(items) is not list:
        raise made.refusal(named.pointer, f"is {kind_of(items)}", "send a list of named objects")
    found: dict[str, Any] = {}
    for number, item in enumerate(items):
        where = f"{named.pointer}/{number}"
        name = item.get(named.name) if type(item) is dict else None
        if type(name) is not str:
            raise made.refusal(
                where, f"has no {named.name!r} that is a text", "mend named_lists in the mapping"
            )
        if name in found:
            raise made.refusal(
                where, f"names {shown(name)} a second time", "send each name once", "duplicate_key"
            )
        found[name] = item
    return found


def _replaced(node: Any, steps: Steps, new: Any) -> Any:
    """A copy along the way to a place that is known to be there, with `new` in it."""
    if not steps:
        return new
    copy: Any = list(node) if type(node) is list else dict(node)
    step: Any = int(steps[0]) if type(node) is list else steps[0]
    copy[step] = _replaced(copy[step], steps[1:], new)
    return copy
