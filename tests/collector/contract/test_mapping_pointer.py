"""JSON pointers against the examples of RFC 6901."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.contract.mapping_pointer import NoSuchValue, parse_pointer, resolve, write_pointer

# RFC 6901 section 5: this document, and what each pointer evaluates to.
DOCUMENT = json.loads(
    r"""
    {
      "foo": ["bar", "baz"],
      "": 0,
      "a/b": 1,
      "c%d": 2,
      "e^f": 3,
      "g|h": 4,
      "i\\j": 5,
      "k\"l": 6,
      " ": 7,
      "m~n": 8
    }
    """
)
EXAMPLES = [
    ("", DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("text", "value"), EXAMPLES)
def test_the_examples_of_the_standard(text: str, value: object) -> None:
    assert resolve(DOCUMENT, parse_pointer(text)) == value


def test_tilde_zero_one_is_a_tilde_and_a_one() -> None:
    # RFC 6901 section 4: the wrong order of replacement would make it a slash.
    assert parse_pointer("/~01") == ("~1",)


@pytest.mark.parametrize("text", ["foo", "/a~", "/a~2b", "#/foo", "/" + "a" * 2000])
def test_what_is_no_pointer_is_said_in_one_sentence(text: str) -> None:
    with pytest.raises(ValueError, match="JSON pointer"):
        parse_pointer(text)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("/foo/2", "/foo is a list of 2 and has no item '2'"),
        ("/foo/01", "/foo is a list of 2 and has no item '01'"),  # section 4: no leading zeros
        ("/foo/-", "/foo is a list of 2 and has no item '-'"),  # section 4: the item after the last
        ("/foo/-1", "/foo is a list of 2 and has no item '-1'"),
        ("/foo/\u0661", "/foo is a list of 2 and has no item '\u0661'"),  # a digit, but not of ASCII
        ("/foo/" + "9" * 500, "/foo is a list of 2 and has no item"),
        ("/bar", "the message has no member 'bar'"),
        ("/a~1b/c", "/a~1b is neither an object nor a list"),
        ("/foo/0/0", "/foo/0 is neither an object nor a list"),
    ],
)
def test_where_nothing_is_the_reason_names_the_place(text: str, why: str) -> None:
    with pytest.raises(NoSuchValue) as caught:
        resolve(DOCUMENT, parse_pointer(text))
    assert caught.value.why.startswith(why)


@given(st.lists(st.text(max_size=8), max_size=5))
def test_every_name_can_be_pointed_at(names: list[str]) -> None:
    document: object = 7
    for name in reversed(names):
        document = {name: document}

    assert resolve(document, parse_pointer(write_pointer(tuple(names)))) == 7
