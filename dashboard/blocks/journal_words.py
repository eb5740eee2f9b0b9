"""An entry of the journal as people read it: who did what, why, and only what that changed. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from collector.alarms.extent_words import tray_words

Local = Callable[[datetime], datetime]
AT = "%a %d %b %H:%M:%S"
NONE = "none"
_DIGEST = re.compile("[0-9a-f]{64}")  # its beginning tells it from others


def journal_row(row: Any, local: Local) -> dict[str, str]:
    """One entry as a row of a table."""
    return {
        "Entry": f"{row.id:,}",
        "Time": f"{local(row.at):{AT}}",
        "Who": row.who,
        "What": row.action,
        "On": row.subject,
        "Why": row.why or "",
        "What changed": _changed(row, local),
    }


def _changed(row: Any, local: Local) -> str:
    before, after = row.before, row.after
    if isinstance(after, Mapping) and isinstance(before, Mapping | None):
        return ", ".join(_differences(before or {}, after, row, local))
    if isinstance(before, Mapping) and after is None:
        return f"it was: {', '.join(_pair(name, each, local) for name, each in before.items())}"
    words = [_value("", each, local) for each in (before, after) if each is not None]
    return " to ".join(words)


def _differences(
    before: Mapping[str, Any], after: Mapping[str, Any], row: Any, local: Local
) -> list[str]:
    told = []
    for name, new in after.items():
        old = before.get(name)
        if old == new or _said_by_the_row(name, new, row):
            continue
        known = "" if old in (None, [], {}) or name.endswith("_at") else f"{_value(name, old, local)} to "
        told.append(f"{_name(name)} {known}{_value(name, new, local)}")
    return told


def _said_by_the_row(name: str, value: Any, row: Any) -> bool:
    """The time and the person of the act, or its reason, once more."""
    return (name.endswith(("_by", "_at")) and value in {row.who, row.at.isoformat()}) or value == row.why


def _pair(name: str, value: Any, local: Local) -> str:
    return f"{_name(name)} {_value(name, value, local)}"


def _name(name: str) -> str:
    return name.removesuffix("_at").replace("_", " ")


def _value(name: str, value: Any, local: Local) -> str:
    if isinstance(value, Mapping):
        return ", ".join(_pair(key, each, local) for key, each in value.items()) or NONE
    if isinstance(value, list):
        return _list(name, value, local) or NONE
    return NONE if value is None else _text(name, str(value), local)


def _list(name: str, values: list[Any], local: Local) -> str:
    if name == "trays":
        return tray_words(tuple(map(str, values))).removeprefix("trays ").removeprefix("tray ")
    return ", ".join(_value("", each, local) for each in values)


def _text(name: str, value: str, local: Local) -> str:
    if name.endswith("_at"):
        return _time(value, local)
    if name == "state":
        return value.replace("_", " ")
    return f"{value[:12]}…" if _DIGEST.fullmatch(value) else value


def _time(text: str, local: Local) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    return text if moment.tzinfo is None else f"{local(moment):{AT}}"
