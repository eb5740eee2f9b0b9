"""What a single cell looks like: a number with a point or a comma, a date, a time of day, nothing."""

from __future__ import annotations

import re

from collector.contract.marks import Marks

_TIME = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?|\d{1,2}\.\d{2}\.\d{2}(?:,\d+)?"
_HALF = r"(?:\s*[AaPp]\.?[Mm]\.?)?"
_ZONE = r"(?:\s*(?:[Zz]|[+-]\d{2}:?\d{2}))?"
_DATE = r"\d{4}[-./]\d{1,2}[-./]\d{1,2}|\d{1,2}[-./]\d{1,2}[-./](?:\d{4}|\d{2})"
_SHORT = r"\d{1,2}\.\d{2}"  # a dotted time without seconds, which is a number as well

# A part that may be missing is one group: with `\d+\.?\d*` a cell of many digits would take minutes.
POINT = re.compile(r"\s*[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?\s*")
COMMA = re.compile(r"\s*[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d+)?\s*")
# Thousands parted by a point, a comma, an apostrophe or a space.
GROUPED = re.compile(
    r"\s*[+-]?[1-9]\d{0,2}(?:(?:\.\d{3})+(?:,\d*)?|(?:,\d{3})+(?:\.\d*)?|(?:(?:['\u2019]\d{3})+"
    r"|(?:[ \u00a0\u2009\u202f]\d{3})+)(?:[.,]\d*)?)\s*"
)
WHOLE = re.compile(r"\s*\+?\d+(?:[.,]0*)?\s*")
DATE = re.compile(_DATE)
COMPACT_DATE = re.compile(r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
COMPACT_CLOCK = re.compile(r"(?:[01]\d|2[0-3])[0-5]\d[0-5]\d")
CLOCK = re.compile(f"(?:{_TIME}){_HALF}")
SHORT_CLOCK = re.compile(r"(?:[01]?\d|2[0-3])\.[0-5]\d")
DATE_TIME = re.compile(f"(?:{_DATE})(?:T|\\s+)(?:{_TIME}|{_SHORT}){_HALF}{_ZONE}")
HALF_DAY = re.compile(r"[AaPp]\.?[Mm]\.?")


def is_number(text: str) -> bool:
    """Whether a cell is a number, with a decimal point or a decimal comma; thousands may be parted."""
    return is_ungrouped(text) or GROUPED.fullmatch(text) is not None


def is_ungrouped(text: str) -> bool:
    """The same where thousands may not be parted."""
    return bool(POINT.fullmatch(text) or COMMA.fullmatch(text))


def is_datum(text: str) -> bool:
    """Whether a cell is a number or a time: what data rows have and headers have not."""
    plain = text.strip()
    return is_number(plain) or any(form.fullmatch(plain) for form in (DATE_TIME, DATE, CLOCK))


def value(text: str, marks: Marks) -> float | None:
    """The number in a cell, None where there is none."""
    plain = marks.plain(text.strip())
    return float(plain) if plain and POINT.fullmatch(plain) else None
