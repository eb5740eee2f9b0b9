"""How a canonical unit is written for people."""

from __future__ import annotations

_SYMBOLS = {
    "degC": "°C",
    "degF": "°F",
    "delta_degC": "K",
    "delta_degF": "°F",
    "cm3": "cm³",
    "cm3/s": "cm³/s",
    "N*m": "N·m",
    "percent": "%",
    "1": "",
}


def symbol(unit: str) -> str:
    """Written form of a unit: ``degC`` becomes ``°C``; a unit that reads well already stays as it is."""
    return _SYMBOLS.get(unit, unit)
