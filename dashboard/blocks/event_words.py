"""What happened at a press, and to an alarm, in the words of every screen and of the audit. Pure.

The kinds are short: they stand beside the time axis of the Press page.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pandas as pd

from collector.contract import quantities

KINDS = {
    "run": "run",
    "lot": "material lot",
    "color": "color",
    "tray": "tray",
    "setpoint": "setpoint",
    "stop": "stop",
    "startup": "startup",
    "state": "press state",
    "maintenance": "maintenance",
    "gap": "missing shots",
    "late": "late shots",
    "clock": "press clock",
    "epoch": "counter anew",
    "chart_restart": "charts anew",
    "limits": "limits",
    "first_shot": "first discs",
}
STEPS = {
    "occur": "alarm", "grow": "grew", "acknowledge": "acknowledged", "clear": "no signal any more",
    "reoccur": "alarm again", "realarm": "calls again", "rise": "matters more", "turn": "other side",
    "close": "closed", "restart": "charts began anew", "hold": "discs on hold again",
    "reset": "no disc on hold any more", "shelve": "shelved", "unshelve": "back from the shelf",
    "suppress": "kept quiet: the press starts up or stands",
    "unsuppress": "the press runs: no longer kept quiet", "take_out": "out of service",
    "put_back": "back in service",
}  # fmt: skip


def kind_words(kind: str) -> str:
    """``Missing shots``; a kind that has no words of its own as its name."""
    return _capital(KINDS.get(kind, kind.replace("_", " ")))


def step_words(event: str) -> str:
    """``Acknowledged``: one step of an alarm."""
    return _capital(STEPS.get(event, event.replace("_", " ")))


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def change_words(event: Any) -> str:
    """What an event changed: ``Cooling time from 36.00 s to 34.00 s``, ``no shot for 15 min``; may be empty.

    Parameters
    ----------
    event : Any
        With kind, key, old, new and note, as in the `events` table.
    """
    if event.kind == "run" and _says(event.new, event.old):
        return f"{event.new if _says(event.new) else event.old} {_note(event, 'opened')}"
    if event.kind in ("setpoint", "limits") and isinstance(event.key, str):
        label = quantities.label(event.key)
        if event.kind == "limits":
            return f"{label}: {_note(event, 'new limits')}"
        since = "from " if _says(event.old) else ""
        return f"{label} {since}{from_to(event)}"
    return "new limits" if event.kind == "limits" else from_to(event)


def from_to(event: Any) -> str:
    """The old and the new value with their unit, and the note."""
    if event.kind == "stop" and isinstance(event.new, int | float) and _says(event.new):
        return f"no shot for {length_words(timedelta(seconds=event.new))}"
    if event.kind == "maintenance":
        return ": ".join(str(part) for part in (event.new, event.note) if _says(part))
    parts = [_value(event, value) for value in (event.old, event.new) if _says(value)]
    return ", ".join(part for part in (" to ".join(parts), event.note) if _says(part))


def length_words(span: timedelta) -> str:
    """``12 min``, ``3.4 h``, ``2.0 days``."""
    hours = span / timedelta(hours=1)
    if hours < 2:
        return f"{hours * 60:.0f} min"
    return f"{hours:.1f} h" if hours < 48 else f"{hours / 24:.1f} days"


def _value(event: Any, value: Any) -> str:
    if isinstance(event.key, str) and isinstance(value, int | float):
        return quantities.format_value(event.key, float(value))
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {each}" for name, each in value.items() if _says(each))
    return str(value).replace("_", " ") if event.kind == "state" else str(value)


def _note(event: Any, without: str) -> str:
    return str(event.note) if _says(event.note) else without


def _says(*parts: Any) -> bool:
    """Whether any of them is there; a table of pandas has NaN for what is not."""
    return any(
        part is not None and part != "" and not (isinstance(part, float) and pd.isna(part)) for part in parts
    )
