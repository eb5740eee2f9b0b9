"""Objects whose members are numbers as text, many at once: as the store keeps them, and in canonical form.

Shot after shot brings the same names, and most numbers are written alike in both forms: so names are laid out
once, and each number is written once, which is what takes the time. Where a number is written otherwise in
one of the forms, as with an exponent, each form is made by itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from collector.store.canonical import number, quote, utf16
from collector.store.database import to_json

Numbers = Mapping[str, float]
AsSent = Mapping[str, tuple[float, str]]

_FLOATS = frozenset({float})
_PLAIN = re.compile(r"[0-9.,-]*").fullmatch  # no exponent, and finite


class _Layout(NamedTuple):
    """Both forms of an object with a place for each number, and which number comes when in the second."""

    stored: str
    canonical: str
    order: tuple[int, ...]


def written(objects: Sequence[Numbers]) -> tuple[list[str], list[str]]:
    """Write objects of numbers as `database.to_json` and as `canonical.canonical_json` do.

    Returns
    -------
    stored, canonical : list of str
        One text an object.

    Raises
    ------
    ValueError
        A number is not finite.
    """
    stored: list[str] = []
    canonical: list[str] = []
    for names, alike in groupby(objects, key=tuple):
        as_stored, as_canonical = _alike(names, list(alike))
        stored += as_stored
        canonical += as_canonical
    return stored, canonical


def written_as_sent(objects: Sequence[AsSent]) -> tuple[list[str], list[str]]:
    """The same of objects whose members are a number and its unit; most shots have none."""
    stored = [_as_sent(each, each, repr) if each else "{}" for each in objects]
    return stored, [_as_sent(each, sorted(each, key=utf16), number) if each else "{}" for each in objects]


def _as_sent(members: AsSent, names: Iterable[str], write: Callable[[float], str]) -> str:
    sent = [(quote(name), *members[name]) for name in names]
    return "{" + ",".join([f"{name}:[{write(value)},{quote(unit)}]" for name, value, unit in sent]) + "}"


def _alike(names: tuple[str, ...], objects: Sequence[Numbers]) -> tuple[Iterable[str], Iterable[str]]:
    """Both forms of objects that have the same names in the same order."""
    if not names:
        return ["{}"] * len(objects), ["{}"] * len(objects)
    values = [value for each in objects for value in each.values()]
    texts = list(map(repr, values))
    line, layout = ",".join([*texts, ""]), _layout(names)
    if not (_FLOATS.issuperset(map(type, values)) and _PLAIN(line)) or "-0.0," in line:
        canonical = _filled(layout.canonical, list(map(number, values)), layout.order)
        return map(to_json, map(dict, objects)), canonical
    short = line.replace(".0,", ",").split(",")[:-1]
    as_they_come = range(len(names))
    return _filled(layout.stored, texts, as_they_come), _filled(layout.canonical, short, layout.order)


def _filled(form: str, texts: Sequence[str], order: Sequence[int]) -> Iterable[str]:
    """Each object of a row of texts; `order` tells where in its row a text stands."""
    return map(form.__mod__, zip(*[texts[place :: len(order)] for place in order], strict=True))


@lru_cache(maxsize=1_024)
def _layout(names: tuple[str, ...]) -> _Layout:
    order = tuple(sorted(range(len(names)), key=lambda place: utf16(names[place])))
    return _Layout(_form(names), _form([names[place] for place in order]), order)


def _form(names: Iterable[str]) -> str:
    return "{" + ",".join([f"{quote(name)}:".replace("%", "%%") + "%s" for name in names]) + "}"
