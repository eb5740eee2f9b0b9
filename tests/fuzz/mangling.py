"""Bytes that were right once: what a seeded hand does to them."""

from __future__ import annotations

import json
from copy import deepcopy
from random import Random
from typing import Any

# Numbers, texts and pieces of JSON and CSV that have broken readers before (common practice, no source).
NASTY_TEXT = (
    b"1e400", b"-1e400", b"NaN", b"Infinity", b"-0", b"0x10", b"1" * 400, b"1e-400",
    b"18446744073709551616", b"1,5", b"1.234,5", b"'", b'"', b'\\"', b"\\u0000", b"\\ud800", b"\x00",
    b"\xff\xfe", b"\xef\xbb\xbf", b"\xc3\x28", b"[", b"[" * 200, b"{", b'{"a":' * 100, b"]" * 50, b"}",
    b":", b",", b";" * 30, b"\t", b"\n", b"\r", b"\r\n\r\n", b"null", b"true", b"=1+1", b"@x", b"/",
    b"~1", b"#", b"+", b"$share", b"\xe2\x80\xae", b"\x1b[2J", b"P1", b"degF", b"psi", b"31.02.2026",
    b"24:00:00", b"2026-11-24T10:00:60Z", b"9999-12-31T23:59:59Z", b"0001-01-01T00:00:00+23:59",
)
NASTY_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**63, 2**64, -(2**63), 10**400, 0.1, -0.0, 1e308, 5e-324, "",
    " ", "\x00", "\ud800", "a" * 5000, "\u202e", "1e5", "NaN", [], {}, [[]], [1, 2, 3], {"a": {"b":
    1}}, "P1", "2026-11-24T10:00:00Z", "1970-01-01T00:00:00Z", "9999-12-31T23:59:59.999999Z", "bar",
    "degF", "m**99999", "1/0 bar", "kg*" * 50,
)
NASTY_KEYS = (
    "", " ", "a" * 300, "barrel_temperature.0", "barrel_temperature.-1",
    "barrel_temperature.999999999999", "cushion.1.2", "__class__", "values", "\x00", "\ud800", "x';drop",
    "dome", "pe\u0301ak",
)


def mangled(right: bytes, seed: int) -> bytes:
    """A few accidents to some bytes; the same seed does the same to the same."""
    random = Random(seed)
    made = right
    for _ in range(random.choice((1, 1, 1, 2, 3, 8))):
        made = random.choice((_flip, _cut, _double, _insert, _drop, _swap))(made, random)
    return made[:200_000]


def mangled_json(right: dict[str, Any], seed: int) -> bytes:
    """A few members changed, renamed, taken out or added, at any depth."""
    random = Random(seed)
    document = json.loads(json.dumps(right))
    for _ in range(random.choice((1, 1, 2, 3, 6))):
        _change_somewhere(document, random)
    separators = random.choice(((",", ":"), None))
    text = json.dumps(document, ensure_ascii=random.random() < 0.5, separators=separators)
    made = text.encode("utf-8", "surrogatepass")
    return mangled(made, random.randrange(2**32)) if random.random() < 0.1 else made


def _change_somewhere(document: dict[str, Any], random: Random) -> None:
    here: Any = document
    while True:
        members = here.values() if isinstance(here, dict) else here
        inner = [each for each in members if isinstance(each, dict | list)]
        if not inner or random.random() < 0.5:
            break
        here = random.choice(inner)
    if isinstance(here, list):
        here.insert(random.randint(0, len(here)), deepcopy(random.choice(NASTY_VALUES)))
        return
    name = random.choice([*here, *NASTY_KEYS])
    what = random.random()
    if what < 0.15:
        here.pop(name, None)
    elif what < 0.3 and name in here:
        here[random.choice(NASTY_KEYS)] = here.pop(name)
    else:
        here[name] = deepcopy(
            random.choice((*NASTY_VALUES, random.uniform(-1e4, 1e4), random.randrange(2000)))
        )


def _flip(made: bytes, random: Random) -> bytes:
    if not made:
        return b"\x00"
    at = random.randrange(len(made))
    return made[:at] + bytes((made[at] ^ (1 << random.randrange(8)),)) + made[at + 1 :]


def _cut(made: bytes, random: Random) -> bytes:
    return made[: random.randrange(len(made) + 1)]


def _double(made: bytes, random: Random) -> bytes:
    a, b = sorted(random.randrange(len(made) + 1) for _ in range(2))
    return made[:b] + made[a:b] * random.choice((1, 1, 2, 30)) + made[b:]


def _insert(made: bytes, random: Random) -> bytes:
    at = random.randrange(len(made) + 1)
    return made[:at] + random.choice(NASTY_TEXT) + made[at:]


def _drop(made: bytes, random: Random) -> bytes:
    a = random.randrange(len(made) + 1)
    return made[:a] + made[a + random.randrange(1, 20) :]


def _swap(made: bytes, random: Random) -> bytes:
    """A piece replaced: what stands between two marks, such as a number or a cell."""
    marks = [n for n, each in enumerate(made) if each in b',;:\t\n"']
    if len(marks) < 2:
        return _insert(made, random)
    at = random.randrange(len(marks) - 1)
    return made[: marks[at] + 1] + random.choice(NASTY_TEXT) + made[marks[at + 1] :]
