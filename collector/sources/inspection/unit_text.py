"""Units as headers spell them: in a row of their own, in brackets, after a slash, or at a name's end."""

from __future__ import annotations

import re

from collector.contract import units

_KNOWN = {unit.name for unit in units.UNITS} - {"1", "m", "h", "L"}
# Spellings of headers and of German presses beside those that messages may use.
_HEADERS = {
    "mpa": "MPa",
    "kpa": "kPa",
    "bar": "bar",
    "psi": "psi",
    "degc": "degC",
    "degf": "degF",
    "grad c": "degC",
    "celsius": "degC",
    "fahrenheit": "degF",
    "ºc": "degC",
    "ºf": "degF",
    "kn": "kN",
    "sek": "s",
    "sek.": "s",
    "sec.": "s",
    "s": "s",
    "ms": "ms",
    "mm": "mm",
    "cm": "cm",
    "cm3": "cm3",
    "ccm": "cm3",
    "in": "in",
    "g": "g",
    "kg": "kg",
    "u/min": "1/min",
    "rpm": "1/min",
    "cm3s": "cm3/s",
    "mms": "mm/s",
    "mm/s": "mm/s",
    "cm3/s": "cm3/s",
    "lmin": "L/min",
    "l/min": "L/min",
    "nm": "N*m",
    "bar_s": "bar*s",
    "bar*s": "bar*s",
    "pct": "percent",
    "prozent": "percent",
    "tons": "ton_force_us",
}
LONGEST_NAME = 200
_BRACKETS = re.compile(r"(.*?)\s*[\[({]\s*([^\[\](){}]+?)\s*[\])}]\s*$")
_SLASH = re.compile(r"(.+?)\s*/\s*([^/\s]+)$|(.+?)\s+in\s+(\S+)$")
_ENDS = re.compile(r"(.+?)[_ ]((?:[^_ ]+_)?[^_ ]+)$")


def as_unit(text: str) -> str | None:
    """Our name of a unit, None when the text is none; `m` and `h` are more often letters than units."""
    plain = text.strip().strip("[](){}").strip()
    if not plain:
        return None
    name = _HEADERS.get(plain.lower())
    if name is None:
        name = units.normal_name(plain)
        name = name if name in _KNOWN else None
    return name


def from_name(name: str) -> tuple[str, str | None]:
    """A name without its unit, and the unit, None when it has none."""
    if len(name) > LONGEST_NAME:  # a broken file; the patterns would take minutes over it
        return name, None
    bracketed = _BRACKETS.fullmatch(name)
    if bracketed and (unit := as_unit(bracketed[2])):
        return bracketed[1], unit
    slashed = _SLASH.fullmatch(name)
    if slashed and (unit := as_unit(slashed[2] or slashed[4])):
        return slashed[1] or slashed[3], unit
    return _at_the_end(name)


def _at_the_end(name: str) -> tuple[str, str | None]:
    ending = _ENDS.fullmatch(name)
    if ending is None:
        return name, None
    for end in (ending[2], ending[2].rpartition("_")[2]):
        unit = _HEADERS.get(end.lower()) or (units.normal_name(end) if "°" in end or "³" in end else None)
        if unit is not None and end not in {"S", "G"}:
            return name[: -len(end)].rstrip("_ "), unit
    return (
        (name[:-2], "degC" if name[-1] == "C" else "degF")
        if name[-2:] in {"_C", "_F", " C", " F"}
        else (name, None)
    )
