"""JSON as RFC 8259 has it and no looser: no NaN, no repeated member, no bottomless nesting.

References
----------
RFC 8259 section 6 (numbers: "Infinity and NaN are not permitted"), RFC 7493 section 2.3 (no duplicate
member names).
"""

from __future__ import annotations

import json
import math
from typing import Any

from collector.contract.unreadable import Unreadable, pointer, shown

Members = dict[str, Any]


class _RepeatedMember(Exception):
    pass


def decode(payload: bytes, *, max_depth: int, max_members: int) -> Members:
    """Read one JSON object.

    Raises
    ------
    Unreadable
        When the bytes are no strict JSON object, with the reason and where it is.
    """
    members = decode_any(payload, max_depth=max_depth, max_members=max_members)
    if type(members) is not dict:
        raise Unreadable(
            "wrong_type", "the message is no JSON object", "send one object in braces, as in the schema"
        )
    return members


def decode_any(payload: bytes, *, max_depth: int, max_members: int) -> Any:
    """Read one JSON value of any kind.

    Parameters
    ----------
    payload : bytes
    max_depth : int
        Deepest nesting of objects and lists.
    max_members : int
        Most members of objects and items of lists, all together.

    Raises
    ------
    Unreadable
        When the bytes are no strict JSON, with the reason and where it is.
    """
    if payload.count(b"{") + payload.count(b"[") > max_depth:
        _check_depth(payload, max_depth)
    try:
        members = _DECODER.decode(payload.decode())
    except _RepeatedMember as repeated:
        raise Unreadable(
            "duplicate_key",
            f"member {shown(repeated.args[0])} stands twice in one object",
            "send each member once",
        ) from None
    except UnicodeDecodeError as broken:
        raise Unreadable(
            "not_json", f"byte {broken.start} is not UTF-8 text", "send the message as JSON in UTF-8"
        ) from None
    except (ValueError, RecursionError) as broken:
        raise _not_json(broken) from None
    # Every member but the first of its object or list has a comma before it.
    if payload.count(b",") + payload.count(b"{") + payload.count(b"[") > max_members:
        _check_members(members, max_members)
    if b"NaN" in payload or b"Infinity" in payload:
        _refuse_non_finite(members)
    return members


def _check_members(document: Any, max_members: int) -> None:
    waiting, count = [document], 0
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict | list):
            count += len(node)
            waiting += node.values() if isinstance(node, dict) else node
    if count > max_members:
        raise Unreadable(
            "too_large",
            f"the message has {count} members, more than {max_members}",
            "send one shot a message without curves",
        )


def _not_json(broken: Exception) -> Unreadable:
    detail = f"no JSON: {broken}"
    if isinstance(broken, json.JSONDecodeError):
        detail = f"no JSON at line {broken.lineno} column {broken.colno}: {broken.msg}"
    return Unreadable("not_json", detail, "mend the sender's JSON text")


def _unique(pairs: list[tuple[str, Any]]) -> Members:
    members = dict(pairs)
    if len(members) != len(pairs):
        names = [name for name, _ in pairs]
        raise _RepeatedMember(next(name for name in names if names.count(name) > 1))
    return members


_DECODER = json.JSONDecoder(object_pairs_hook=_unique)


def _check_depth(payload: bytes, max_depth: int) -> None:
    depth, in_text, escaped = 0, False, False
    for position, sign in enumerate(payload):
        if in_text:
            in_text = escaped or sign != 0x22
            escaped = not escaped and sign == 0x5C
        elif sign == 0x22:
            in_text = True
        elif sign in b"{[":
            depth += 1
            if depth > max_depth:
                raise Unreadable(
                    "too_deep",
                    f"nested deeper than {max_depth} levels at byte {position}",
                    "send a flat object as in the schema",
                )
        elif sign in b"}]":
            depth -= 1


def _refuse_non_finite(node: object, *path: str | int) -> None:
    if isinstance(node, float) and not math.isfinite(node):
        raise not_finite(pointer(*path), node)
    children = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for step, child in children:
        _refuse_non_finite(child, *path, step)


def not_finite(where: str, value: float) -> Unreadable:
    """The refusal of a NaN or an infinity at a JSON pointer."""
    return Unreadable(
        "not_finite",
        f"{where} is {value}, which is no number",
        "leave the key out, or send null, when there is no value",
    )
