"""Each bad input by name: a refusal that says what, where and what to do, and nothing raised."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.models import EXAMPLES
from collector.contract.parse import Policy, parse
from collector.contract.refusal import Refusal
from collector.contract.unreadable import pointer
from collector.sources.incoming import Incoming

NOW = datetime(2026, 11, 24, 10, 1, tzinfo=UTC)
TOPIC = "evenrun/1/lowland/P1/shot"
POLICY = Policy(known_presses=frozenset({"P1", "P2"}))


def refusal(payload: bytes, topic: str = TOPIC) -> Refusal:
    found = parse(Incoming(topic, payload, "mqtt", "1:7"), now=NOW, received_at=NOW, policy=POLICY)
    assert isinstance(found, Refusal)
    return found


def shot(**changes: Any) -> bytes:
    return json.dumps({**EXAMPLES["shot"], **changes}).encode()


def gauging(**changes: Any) -> bytes:
    return json.dumps(
        {"characteristic": "dome", "value": 2.8, "press": "P1", "counter": 1, **changes}
    ).encode()


def text(values: str) -> bytes:
    return b'{"ended_at": "2026-11-24T10:00:00Z", "values": ' + values.encode() + b"}"


# Reason, a word of the place or the culprit, payload.
BAD: list[tuple[str, str, bytes]] = [
    ("not_json", "line 1 column 2", b"{"),
    ("not_json", "", b""),
    ("not_json", "byte 9", b'{"press":"\xff"}'[:9] + b"\xff"),
    ("not_json", "", b'{"counter": 01}'),
    ("not_json", "", b'{"values": {"cushion": 5,}}'),
    ("not_json", "", b'{"counter": ' + b"9" * 5000 + b"}"),
    ("wrong_type", "object", b"[1, 2]"),
    ("wrong_type", "object", b"null"),
    ("too_deep", "byte", b'{"values": ' + b"[" * 5000 + b"]" * 5000 + b"}"),
    ("too_large", "65536", b" " * 65537),
    ("duplicate_key", "cushion", text('{"cushion": 5.1, "cushion": 5.2}')),
    ("not_finite", "/values/cushion", text('{"cushion": NaN}')),
    ("not_finite", "/values/cushion", text('{"cushion": -Infinity}')),
    ("not_finite", "/values/cushion", text('{"cushion": 1e999}')),
    ("not_finite", "/values/cushion", text('{"cushion": 1' + "0" * 400 + "}")),
    ("not_finite", "/extra/0", b'{"ended_at": "2026-11-24T10:00:00Z", "values": {}, "extra": [NaN]}'),
    ("not_finite", "/values/cushion", shot(values={"cushion": 1e307}, units={"cushion": "m"})),
    ("wrong_type", "the text '5.1'", shot(values={"cushion": "5.1"})),
    ("wrong_type", "the truth value True", shot(values={"cushion": True})),
    ("wrong_type", "/values/cushion is a list", shot(values={"cushion": [5.1]})),
    ("wrong_type", "/values", shot(values=[1, 2])),
    ("wrong_type", "/units", shot(units="bar")),
    ("wrong_type", "/units/cushion", shot(units={"cushion": 3})),
    ("wrong_type", "/counter", shot(counter="1023")),
    ("wrong_type", "/counter", shot(counter=True)),
    ("wrong_type", "/counter", shot(counter=1.5)),
    ("out_of_range", "/counter", shot(counter=-1)),
    ("out_of_range", "/counter", shot(counter=2**60)),
    ("wrong_type", "/run", shot(run=7)),
    ("wrong_type", "/run", shot(run="")),
    ("wrong_type", "/run", shot(run="a\u0000b")),
    ("wrong_type", "/run", shot(run="\ud800")),
    ("missing_field", "/ended_at", text("{}").replace(b"ended_at", b"finished")),
    ("missing_field", "/values", b'{"ended_at": "2026-11-24T10:00:00Z"}'),
    ("wrong_type", "/ended_at", shot(ended_at=1764000000)),
    ("wrong_type", "/ended_at", shot(ended_at="yesterday")),
    ("wrong_type", "/ended_at", shot(ended_at="2026-11-24T10:00:00")),
    ("wrong_type", "/ended_at", shot(ended_at="2026-11-24")),
    ("wrong_type", "/ended_at", shot(ended_at="0001-01-01T00:00:00+23:59")),
    ("absurd_time", "ahead of", shot(ended_at="2026-11-24T10:11:01Z")),
    ("absurd_time", "behind", shot(ended_at="2019-01-01T00:00:00Z")),
    ("absurd_time", "behind", shot(ended_at="1970-01-01T00:00:00Z")),
    ("unknown_unit", "'barr'", shot(units={"peak_melt_pressure": "barr"})),
    ("unknown_unit", "mm does not measure", shot(units={"peak_melt_pressure": "mm"})),
    ("unknown_unit", "m**99999", shot(units={"peak_melt_pressure": "m**99999"})),
    ("missing_unit", "/values/gate_pressure", shot(values={"gate_pressure": 3})),
    ("unknown_key", "'Peak Pressure'", shot(values={"Peak Pressure": 3})),
    ("unknown_key", "/values/", shot(values={"Peak Pressure": None})),
    ("unknown_key", "gaugings", shot(values={"dome": 2.8})),
    ("unknown_key", "setpoints", shot(values={"hold_pressure": 40.0})),
    ("press_mismatch", "'P2'", shot(press="P2")),
]


@pytest.mark.parametrize(("reason", "word", "payload"), BAD, ids=lambda part: repr(part)[:40])
def test_a_bad_shot_is_refused_by_name(reason: str, word: str, payload: bytes) -> None:
    found = refusal(payload)

    assert found.reason == reason
    assert word in found.sentence()
    assert found.remedy
    assert found.raw == payload
    assert (found.topic, found.position, found.source) == (TOPIC, "1:7", "mqtt")


def test_an_unknown_press_is_refused_wherever_it_is_named() -> None:
    assert refusal(shot(press="P9"), "evenrun/1/lowland/P9/shot").reason == "unknown_press"
    assert refusal(gauging(press="P9"), "evenrun/1/lowland/gauging").reason == "unknown_press"


@pytest.mark.parametrize(
    "topic",
    [
        "evenrun/1/lowland/P1/curve",
        "evenrun/2/lowland/P1/shot",
        "evenrun/1/lowland/shot",
        "evenrun/1//P1/shot",
        "evenrun/1/lowland/collector/state",
        "other",
    ],
)
def test_a_topic_outside_the_contract_is_refused(topic: str) -> None:
    assert refusal(shot(), topic).reason == "bad_topic"


def test_a_gauging_that_names_no_disc_is_refused() -> None:
    found = refusal(gauging(counter=None), "evenrun/1/lowland/gauging")

    assert found.reason == "missing_field"
    assert "tray and position" in found.remedy


def test_a_tray_without_a_position_names_no_disc() -> None:
    found = refusal(gauging(counter=None, tray="41"), "evenrun/1/lowland/gauging")

    assert found.reason == "missing_field"


def test_a_state_that_the_contract_does_not_know_is_refused_with_the_known_ones() -> None:
    found = refusal(b'{"state": "broken"}', "evenrun/1/lowland/P1/state")

    assert (found.reason, "automatic" in found.remedy) == ("out_of_range", True)


def test_a_run_must_say_whether_it_opens_or_closes() -> None:
    found = refusal(b'{"at": "2026-11-24T10:00:00Z", "run": "R-1"}', "evenrun/1/lowland/P1/run")

    assert (found.reason, "/action" in found.detail) == ("missing_field", True)


def test_the_sentence_says_what_and_what_to_do() -> None:
    sentence = refusal(shot(values={"cushion": "5,1"})).sentence()

    assert sentence == (
        "/values/cushion is the text '5,1'; send a number without quotes, with a decimal point."
    )


def test_a_name_that_a_sender_made_up_cannot_write_to_a_terminal() -> None:
    found = refusal(shot(values={"\x1b[2J\nFine \u202e" + "a" * 500: 3}))

    assert "/values/\\x1b[2J\\nFine \\u202eaaa" in found.detail
    assert found.sentence().isprintable()
    assert len(found.sentence()) < 300


def test_json_pointers_are_escaped() -> None:
    # RFC 6901 section 5: the members "a/b" and "m~n" are at /a~1b and /m~0n.
    assert (pointer("a/b"), pointer("m~n"), pointer("foo", 0)) == ("/a~1b", "/m~0n", "/foo/0")


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)
kinds = st.sampled_from(["shot", "run", "tray", "setpoints", "state", "gauging"])


def topic_of(kind: str) -> str:
    return "evenrun/1/lowland/gauging" if kind == "gauging" else f"evenrun/1/lowland/P1/{kind}"


@given(st.binary(max_size=200), kinds)
@settings(max_examples=150, deadline=None)
def test_no_bytes_make_it_raise(payload: bytes, kind: str) -> None:
    assert refusal(payload, topic_of(kind)).raw == payload


@given(kinds, st.data())
@settings(max_examples=300, deadline=None)
def test_no_change_of_a_good_message_makes_it_raise(kind: str, data: st.DataObject) -> None:
    members = dict(EXAMPLES[kind])
    member = data.draw(st.sampled_from(sorted(members)))
    members[member] = data.draw(json_values)
    payload = json.dumps(members).encode()

    parse(Incoming(topic_of(kind), payload, "mqtt", "1:1"), now=NOW, received_at=NOW, policy=POLICY)
