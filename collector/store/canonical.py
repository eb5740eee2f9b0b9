"""One text for one JSON value, so that its digest does not depend on who wrote it down.

References
----------
RFC 8785, JSON Canonicalization Scheme (2020). Numbers are IEEE 754 doubles written the ECMAScript way, names
are sorted by their UTF-16 code units, nothing is escaped that need not be.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import lru_cache

# Beyond this an integer is not exact as a double.
_EXACT = 2**53
_quote = json.JSONEncoder(ensure_ascii=False).encode

Json = None | bool | int | float | str | Sequence["Json"] | Mapping[str, "Json"]


def canonical_json(value: Json) -> str:
    """Write a JSON value in its canonical form.

    Raises
    ------
    ValueError
        A number is not finite.
    TypeError
        Something is no JSON value.
    """
    match value:
        case float() | int() if not isinstance(value, bool):
            return number(value)
        case str():
            return _quote(value)
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case Mapping():
            members = [f"{quote(name)}:{canonical_json(value[name])}" for name in sorted(value, key=utf16)]
            return "{" + ",".join(members) + "}"
        case Sequence():
            return "[" + ",".join([canonical_json(item) for item in value]) + "]"
    raise TypeError(f"{type(value).__name__} is no JSON value")


@lru_cache(maxsize=4_096)  # the same few names come with every shot
def quote(text: str) -> str:
    """Write a text."""
    return _quote(text)


@lru_cache(maxsize=4_096)
def utf16(name: str) -> bytes:
    """The code units that names are sorted by."""
    return name.encode("utf-16-be")


def number(value: float) -> str:
    """Write a number as ECMAScript does: the fewest digits that read back the same."""
    if isinstance(value, int) and -_EXACT <= value <= _EXACT:
        return str(value)
    value = float(value)
    if not math.isfinite(value):
        raise ValueError(f"{value} cannot be stored: a value must be a finite number")
    text = repr(value)
    if "e" not in text:
        # Minus zero reads back as zero on one of the databases, and ECMAScript writes it as 0.
        return "0" if value == 0 else text.removesuffix(".0")
    return _with_exponent(value, text)


def _with_exponent(value: float, text: str) -> str:
    # Python turns to exponents below 1e-4 and from 1e16 on, ECMAScript below 1e-6 and from 1e21 on.
    if 1e-6 <= abs(value) < 1e21:
        return format(Decimal(text), "f")
    mantissa, exponent = text.split("e")
    return f"{mantissa.removesuffix('.0')}e{int(exponent):+d}"
