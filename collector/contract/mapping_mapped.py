"""What a mapping has made of a message so far, and how what is wrong with it is told."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from collector.contract.mapping_model import JsonMapping, Scalar
from collector.contract.mapping_pointer import NoSuchValue, Steps, parse_pointer, resolve, write_pointer
from collector.contract.members import MAX_TEXT, kind_of
from collector.contract.refusal import Reason
from collector.contract.strict_json import Members
from collector.contract.unreadable import Unreadable

ABSENT = object()


@dataclass(slots=True)
class Mapped:
    """A message of this contract, made from a foreign one.

    Attributes
    ----------
    mapping : JsonMapping
        What it was made by.
    press : str
        Press, "" for a gauging that names none.
    members : dict
        Members as `bodies` reads them.
    origins : dict of tuple of str to str
        By the way into `members` the pointer into the foreign message.
    absent : list of str
        Pointers of the mapping to which this message has nothing.
    """

    mapping: JsonMapping
    press: str = ""
    members: Members = field(default_factory=dict)
    origins: dict[Steps, str] = field(default_factory=dict)
    absent: list[str] = field(default_factory=list)

    def refusal(self, where: str, what: str, wanted: str, reason: Reason = "wrong_type") -> Unreadable:
        """That `what` stands at a pointer of the sender, and what is wanted instead."""
        place = where or "the message"
        return Unreadable(reason, f"mapping {self.mapping.name!r}: {place} {what}", wanted)

    def missing(self, document: Any, where: str, what_for: str) -> Unreadable:
        """That nothing stands where something must."""
        return self.refusal(
            where,
            f"({what_for}) gives nothing: {_why_nothing(document, where)}",
            "mend the pointer in the mapping, or the sender",
            "missing_field",
        )

    def explained(self, broken: Unreadable) -> Unreadable:
        """What is wrong with the members, told of the foreign message."""
        there, space, rest = broken.detail.partition(" ")
        ours = there.rstrip(":")
        here = next((where for steps, where in self.origins.items() if write_pointer(steps) == ours), None)
        detail = broken.detail if here is None else f"{here} (our {ours}){space}{rest}"
        remedy = f"{broken.remedy}, or mend the mapping"
        return Unreadable(broken.reason, f"mapping {self.mapping.name!r}: {detail}", remedy)


def _why_nothing(document: Any, where: str) -> str:
    try:
        found = resolve(document, parse_pointer(where))
    except NoSuchValue as nothing:
        return nothing.why
    return f"it is {kind_of(found)}" if found is None or found == [] else "it is marked as not written"


def look(document: Any, where: str) -> Any:
    """What stands at a pointer, or `ABSENT`."""
    try:
        return resolve(document, parse_pointer(where))
    except NoSuchValue:
        return ABSENT


def same(found: Any, wanted: Scalar) -> bool:
    """Equal as JSON values are: true is not 1, but 1.0 is."""
    return isinstance(found, bool) == isinstance(wanted, bool) and bool(found == wanted)


def is_unwritten(found: Any, sentinels: tuple[Scalar, ...]) -> bool:
    """Whether a value stands for no value."""
    if not sentinels or type(found) not in {bool, int, float, str}:
        return False
    return any(same(found, each) for each in sentinels)


def read_text(made: Mapped, where: str, found: Any) -> str:
    """A name; senders also write the numbers of orders and trays as numbers."""
    if type(found) is int and abs(found) < 10**18:
        return str(found)
    if type(found) is str and 0 < len(found) <= MAX_TEXT and found.isprintable():
        return found
    raise made.refusal(where, f"is {kind_of(found)}", f"send 1 to {MAX_TEXT} printable signs")
