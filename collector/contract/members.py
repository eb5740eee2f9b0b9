"""Reading single members of a message: texts, times, whole numbers."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from collector.contract.strict_json import Members
from collector.contract.times import from_text, to_text
from collector.contract.unreadable import Unreadable, pointer, shown

MAX_TEXT = 200
MAX_COUNT = 2**53 - 1  # the largest whole number that every JSON reader keeps exactly (RFC 8259 section 6)


def kind_of(value: object) -> str:
    """What a JSON value is, in words for a refusal."""
    names = {str: "the text", bool: "the truth value", dict: "an object", list: "a list", type(None): "null"}
    name = names.get(type(value), "the number")
    return name if isinstance(value, dict | list | None) else f"{name} {shown(value)}"


def wrong_type(where: str, value: object, wanted: str) -> Unreadable:
    """Refusal of a member of the wrong type, with what would be right."""
    return Unreadable("wrong_type", f"{where} is {kind_of(value)}", f"send {wanted}")


def missing(name: str, wanted: str) -> Unreadable:
    """Refusal of a message without a member that it must have."""
    return Unreadable("missing_field", f"{pointer(name)} is missing", f"send {wanted}")


def text(members: Members, name: str) -> str | None:
    """Optional text of 1 to 200 printable signs."""
    value = members.get(name)
    if value is None:
        return None
    if type(value) is not str:
        raise wrong_type(pointer(name), value, "a text in quotes")
    if not (0 < len(value) <= MAX_TEXT and value.isprintable()):
        raise Unreadable(
            "wrong_type",
            f"{pointer(name)} is {shown(value)}",
            f"send 1 to {MAX_TEXT} printable signs, or leave the member out",
        )
    return value


def required_text(members: Members, name: str) -> str:
    """Text that must be there."""
    value = text(members, name)
    if value is None:
        raise missing(name, "a text in quotes")
    return value


def choice(members: Members, name: str, choices: tuple[str, ...]) -> str:
    """Text that must be one of `choices`."""
    value = required_text(members, name)
    if value not in choices:
        wanted = ", ".join(choices)
        raise Unreadable("out_of_range", f"{pointer(name)} is {shown(value)}", f"send one of {wanted}")
    return value


def flag(members: Members, name: str) -> bool:
    """Optional truth value; a member that is not there is false."""
    value = members.get(name)
    if value is not None and type(value) is not bool:
        raise wrong_type(pointer(name), value, "true or false without quotes")
    return bool(value)


def whole(members: Members, name: str, lowest: int) -> int | None:
    """Optional whole number from `lowest` on; 5.0 is as whole as 5 in JSON."""
    value = members.get(name)
    if value is None:
        return None
    if type(value) is float and value.is_integer():
        value = int(value)
    if type(value) is not int:
        raise wrong_type(pointer(name), value, "a whole number without quotes")
    if not lowest <= value <= MAX_COUNT:
        raise Unreadable(
            "out_of_range",
            f"{pointer(name)} is {shown(value)}",
            f"send a whole number, {lowest} to {MAX_COUNT}",
        )
    return value


def moment(
    members: Members, name: str, now: datetime, max_age: timedelta, max_ahead: timedelta
) -> datetime | None:
    """Optional point in time, with its zone, that the service clock `now` does not call absurd."""
    value = members.get(name)
    if value is None:
        return None
    if type(value) is not str:
        raise wrong_type(pointer(name), value, "an RFC 3339 time in quotes, such as 2026-11-24T10:00:00Z")
    try:
        when = from_text(value)
    except (ValueError, OverflowError):
        raise wrong_type(
            pointer(name), value, "an RFC 3339 time with its zone, such as 2026-11-24T10:00:00Z"
        ) from None
    if not -max_age <= when - now <= max_ahead:
        raise absurd_time(f"{pointer(name)} {to_text(when)}", when, now)
    return when


def absurd_time(what: str, when: datetime, now: datetime) -> Unreadable:
    """Refusal of a time that is too far from the service clock."""
    distance = abs(when - now)
    amount = f"{distance.days} days" if distance.days else f"{distance.seconds // 60} minutes"
    side = "ahead of" if when > now else "behind"
    return Unreadable(
        "absurd_time",
        f"{what} is {amount} {side} the service clock ({to_text(now)})",
        "set the clock of the press or gateway and send again",
    )


def required(value: Any, name: str, wanted: str) -> Any:
    """`value`, or the refusal of a message without it."""
    if value is None:
        raise missing(name, wanted)
    return value
