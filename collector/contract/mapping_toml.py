"""Writing TOML: text and names that any sender may have chosen, and remarks that stay in one line."""

from __future__ import annotations

import json
from collections.abc import Sequence


def text(value: str) -> str:
    """A TOML basic string; what a terminal might obey is escaped."""
    written = json.dumps(value, ensure_ascii=False)
    return "".join(sign if sign.isprintable() else f"\\U{ord(sign):08x}" for sign in written)


def literal(value: object) -> str:
    """A text, number or truth value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return text(value)
    return repr(value)


def array(values: Sequence[object]) -> str:
    """A list in one line."""
    return f"[{', '.join(map(literal, values))}]"


def table(members: dict[str, str]) -> str:
    """An inline table of texts."""
    return f"{{{', '.join(f'{text(name)} = {text(value)}' for name, value in members.items())}}}"


def line(name: str, value: str, doubt: str | None = None) -> str:
    """One key and its value, with a remark where it is in doubt."""
    return f"{name} = {value}" if doubt is None else f"{name} = {value}  # doubt: {remark(doubt)}"


def remark(words: str) -> str:
    """Words that can stand in a comment: one line, printable."""
    return "".join(sign if sign.isprintable() else " " for sign in words)


def can_be_written(value: str) -> bool:
    """Whether a text can stand in a file in UTF-8: half of a surrogate pair cannot."""
    return not any("\ud800" <= sign <= "\udfff" for sign in value)
