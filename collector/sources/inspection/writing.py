"""A proposed profile as the text of a TOML file, each doubt as a comment above the line that it is about."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime

from collector.sources.inspection.mapping import Mapped, Mapping
from collector.sources.inspection.proposal import Proposal

Value = str | int | float | bool | datetime | list[str | int] | list[str]
MARK = "DOUBT"


def as_toml(proposal: Proposal) -> str:
    """The text of the profile."""
    return "\n".join(_lines(proposal)) + "\n"


def _lines(proposal: Proposal) -> Iterator[str]:
    yield f"# Proposed by looking at {proposal.file_name}. A comment with {MARK} says what is a guess in the"
    yield "# line below it: check that line, mend it if need be, and take the comment out."
    for key, value in proposal.head.items():
        yield from _comments(proposal.doubts.at(key))
        yield f"{key} = {_written(value)}" if value is not None else f'# {key} = "..."'
    for place, sentences in proposal.doubts.by_place.items():
        if place not in proposal.head and place != "time":
            yield from _comments(sentences)
    if proposal.time:
        yield from ("", "[time]")
        yield from _comments(proposal.doubts.at("time"))
        yield from (f"{key} = {_written(value)}" for key, value in proposal.time.items())
    yield from _mapped(proposal.mapping, proposal.kind)
    if proposal.mapping.left_out:
        yield from ("", "# Left out:")
        yield from (f"#   {_written(c.reference)}: {why}" for c, why in proposal.mapping.left_out)


def _mapped(mapping: Mapping, kind: str) -> Iterator[str]:
    if kind == "gaugings":
        for mapped in mapping.characteristics:
            yield from _column("characteristics", mapped)
        return
    for mapped in mapping.values:
        yield from _column("values", mapped)
    for mapped in mapping.setpoints:
        yield from _column("setpoints", mapped)


def _column(table: str, mapped: Mapped) -> Iterator[str]:
    yield from ("", f"[[{table}]]")
    yield from _comments(mapped.doubts)
    yield f"key = {_written(mapped.key)}"
    yield f"column = {_written(mapped.column.reference)}"
    yield f"unit = {_written(mapped.unit)}"
    if mapped.factor != 1.0:
        yield f"factor = {_written(mapped.factor)}"
    if mapped.zero_means_not_written and table != "setpoints":
        yield "zero_means_not_written = true"
    if mapped.per_cavity and table == "values":
        yield "per_cavity = true"
    if mapped.tolerance and table == "setpoints":
        yield f"tolerance = {_written(mapped.tolerance)}"


def _comments(sentences: list[str]) -> Iterator[str]:
    return (f"# {MARK}: {' '.join(sentence.split())}" for sentence in sentences)


def _written(value: Value) -> str:
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds").replace("+00:00", "Z")
    if isinstance(value, list):
        return f"[{', '.join(_written(each) for each in value)}]"
    # JSON's strings, numbers and truth values are TOML's, but for the delete sign.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
