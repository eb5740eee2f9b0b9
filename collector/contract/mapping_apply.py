"""A foreign message by its mapping: the members of this contract's own message, or why not.

Pure: a document and a mapping in, members out. What is said to be wrong names the sender's pointer.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from collector.contract import topics
from collector.contract.mapping_lists import with_names
from collector.contract.mapping_mapped import ABSENT, Mapped, is_unwritten, look, read_text, same
from collector.contract.mapping_model import (
    NUMBER_MEMBERS,
    TIME_MEMBER,
    WHOLE_MEMBERS,
    FieldAt,
    JsonMapping,
    needed,
)
from collector.contract.mapping_numbers import read_blocks, read_gauging, read_number
from collector.contract.mapping_times import read_time
from collector.contract.members import kind_of
from collector.contract.unreadable import shown


def fits(mapping: JsonMapping, document: Any) -> bool:
    """Whether a message meets the conditions (``when``) of a mapping."""
    return all(same(look(document, where), wanted) for where, wanted in mapping.when.items())


def apply(mapping: JsonMapping, topic_press: str | None, document: Any, *, now: datetime) -> Mapped:
    """Make one message.

    Parameters
    ----------
    mapping : JsonMapping
        A mapping whose topic and conditions fit.
    topic_press : str or None
        Press by the topic.
    document : object
        The decoded JSON; it is not changed.
    now : datetime
        As for :func:`collector.contract.mapping_times.read_time`.

    Returns
    -------
    Mapped

    Raises
    ------
    Unreadable
        When the message is not what the mapping says, naming pointer and reason.
    """
    made = Mapped(mapping)
    document = with_names(made, document)
    made.press = _press(made, topic_press, document)
    _time(made, document, now)
    for name, place in mapping.fields.items():
        _field(made, name, place, document)
    if mapping.kind == "gauging":
        read_gauging(made, document)
    else:
        read_blocks(made, document)
    return made


def _press(made: Mapped, topic_press: str | None, document: Any) -> str:
    mapping = made.mapping
    if mapping.press is not None:
        return mapping.press
    where, name = "the topic", topic_press
    if mapping.press_pointer is not None:
        where = mapping.press_pointer
        found = look(document, where)
        if found is ABSENT or found is None:
            raise made.missing(document, where, "the press")
        name = read_text(made, where, found)
    return "" if name is None else _our_press(made, where, name)


def _our_press(made: Mapped, where: str, name: str) -> str:
    ours = made.mapping.presses
    if ours and name not in ours:
        raise made.refusal(
            where,
            f"names the press {shown(name)}, which is not in its presses",
            "add it to presses in the mapping",
            "unknown_press",
        )
    name = ours.get(name, name)
    if not topics.is_press_name(name):
        raise made.refusal(
            where,
            f"names the press {shown(name)}",
            "give it a name of 1 to 100 signs without + # / in presses of the mapping",
            "unknown_press",
        )
    return name


def _time(made: Mapped, document: Any, now: datetime) -> None:
    place = made.mapping.time
    if place is None:
        return
    where = " with ".join(place.pointer)
    parts = [_time_part(made, document, each, alone=len(place.pointer) == 1) for each in place.pointer]
    value = parts[0] if len(parts) == 1 else " ".join(parts)
    try:
        moment = read_time(value, place.format, place.zone, place.pattern, now=now)
    except ValueError as error:
        what = f"is {kind_of(value)}, which {error}"
        raise made.refusal(where, what, "mend format, zone or pattern in mapping.time") from None
    name = TIME_MEMBER.get(made.mapping.kind, "at")
    made.members[name] = moment.isoformat()
    made.origins[name,] = where


def _time_part(made: Mapped, document: Any, where: str, *, alone: bool) -> Any:
    found = look(document, where)
    if found is ABSENT or found is None:
        raise made.missing(document, where, "the time")
    if not alone and type(found) is not str:
        raise made.refusal(where, f"is {kind_of(found)}", "send date and time in quotes")
    return found


def _field(made: Mapped, name: str, place: FieldAt, document: Any) -> None:
    if place.pointer is None:
        made.members[name] = place.constant
        return
    where = place.pointer
    found = look(document, where)
    if found is ABSENT or found is None or is_unwritten(found, place.not_written):
        if name in needed(made.mapping.kind):
            raise made.missing(document, where, f"the {name}")
        made.absent.append(where)
        return
    if place.words:
        found = _our_word(made, where, found, place.words)
    made.members[name] = _reader(name)(made, where, found)
    made.origins[name,] = where


def _our_word(made: Mapped, where: str, found: Any, words: dict[str, str]) -> str:
    # A key in TOML is text, so a number or a truth value is looked up as JSON writes it.
    word = str(found).lower() if type(found) is bool else read_text(made, where, found)
    if word not in words:
        raise made.refusal(
            where, f"is {shown(found)}, which is not in its words", "add it to words in the mapping",
            "out_of_range",
        )
    return words[word]


def _reader(name: str) -> Callable[[Mapped, str, Any], Any]:
    if name in WHOLE_MEMBERS:
        return _whole
    return read_number if name in NUMBER_MEMBERS else read_text


def _whole(made: Mapped, where: str, found: Any) -> Any:
    if type(found) is str and found.isascii() and found.isdigit() and len(found) <= 18:
        return int(found)
    if type(found) in {int, float}:
        return found  # whether it is whole and in range is for `bodies` to judge
    raise made.refusal(where, f"is {kind_of(found)}", "send a whole number")
