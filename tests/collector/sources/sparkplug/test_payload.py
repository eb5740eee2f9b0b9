"""Payloads made by hand (see `wire`) are read as the standard says."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.contract.unreadable import Unreadable
from collector.sources.sparkplug.payload import as_signed, decode, rebirth_command
from collector.sources.sparkplug.topics import NodeTopic, node_filter, read_topic, state_topic
from tests.collector.sources.sparkplug.wire import (
    BOOLEAN,
    DOUBLE,
    FLOAT,
    INT8,
    INT32,
    INT64,
    T0_MS,
    chunk,
    metric,
    payload,
    text,
    varint,
    whole,
)


def test_the_hand_made_bytes_are_those_of_the_published_example() -> None:
    # Protocol Buffers "Encoding", its first example: field 1, varint 150, is 08 96 01; its second: field 2,
    # the text "testing", is 12 07 74 65 73 74 69 6e 67.
    assert whole(1, 150) == bytes.fromhex("089601")
    assert text(2, "testing") == bytes.fromhex("120774657374696e67")


def test_a_payload_written_out_in_full_is_read() -> None:
    # 08 = field 1 varint; 12 = field 2 bytes; 18 = field 3 varint. In the metric: 0a = name, 10 = alias,
    # 18 = timestamp, 20 = datatype, 69 = field 13 (double), eight bytes: 21 = 0x15 bytes in all.
    raw = bytes.fromhex("0801" "1215" "0a0470" "6d6178" "1007" "1802" "200a" "69" "0000000000c05240" "182a")

    read = decode(raw)

    (only,) = read.metrics
    assert (read.at_ms, read.seq) == (1, 42)
    assert (only.name, only.alias, only.at_ms, only.datatype, only.value) == ("pmax", 7, 2, 10, 75.0)
    assert only.good
    assert not only.historical


@pytest.mark.parametrize(
    ("value", "datatype"), [(2.5, DOUBLE), (2.5, FLOAT), (7, INT32), (2**40, INT64), ("R-1", 12), (True, 11)]
)
def test_each_kind_of_value_comes_as_itself(value: object, datatype: int) -> None:
    (only,) = decode(payload([metric("m", value, datatype=datatype)])).metrics

    assert only.value == value
    assert type(only.value) is type(value)


@pytest.mark.parametrize(
    ("sent", "datatype", "meant"),
    # Two's complement of -5 in 8, 32 and 64 bits; the same bits of an unsigned type stay what they are.
    [(0xFB, INT8, -5), (0xFFFFFFFB, INT32, -5), (2**64 - 5, INT64, -5), (0xFB, 5, 0xFB), (251, None, 251)],
)
def test_signed_numbers_travel_in_twos_complement(sent: int, datatype: int | None, meant: int) -> None:
    assert as_signed(sent, datatype) == meant


def test_null_and_bad_quality_are_no_values() -> None:
    null, bad, stale, good = decode(
        payload(
            [
                metric("m", 1.0, null=True), metric("m", 1.0, quality=0), metric("m", 1.0, quality=500),
                metric("m", 1.0, quality=192),
            ]
        )
    ).metrics  # fmt: skip

    assert null.value is None
    assert [each.good for each in (bad, stale, good)] == [False, False, True]


def test_what_is_not_read_here_is_passed_over() -> None:
    # A data set (field 17) as the value, metadata (field 8), and a body (field 5) beside the metrics.
    raw = payload([metric("table") + chunk(8, whole(3, 9)) + chunk(17, whole(1, 2))]) + chunk(5, b"body")

    (only,) = decode(raw).metrics

    assert (only.name, only.value) == ("table", None)


def test_a_text_that_is_not_written_in_utf_8_is_a_text_all_the_same() -> None:
    (only,) = decode(payload([chunk(1, b"press\xe4") + chunk(15, b"\xff")])).metrics

    assert (only.name, only.value) == ("press\N{REPLACEMENT CHARACTER}", "\N{REPLACEMENT CHARACTER}")


@pytest.mark.parametrize("raw", [b"{}", b"\x12\xff", b"\x0a", varint(7) + b"x"])
def test_other_bytes_are_refused_in_a_sentence(raw: bytes) -> None:
    with pytest.raises(Unreadable) as caught:
        decode(raw)

    assert caught.value.reason == "not_protobuf"
    assert "Sparkplug B" in caught.value.remedy


@given(st.binary(max_size=200))
def test_no_bytes_make_anything_else_happen(raw: bytes) -> None:
    with suppress(Unreadable):
        decode(raw)


@given(st.floats(allow_nan=True))
def test_any_double_survives(value: float) -> None:
    (only,) = decode(payload([metric("m", value)])).metrics

    assert only.value == value or (isinstance(only.value, float) and math.isnan(only.value))


def test_the_command_for_a_rebirth_is_what_the_standard_asks_for() -> None:
    # "Node Control/Rebirth", Boolean, true, with a time, and no sequence number.
    wanted = payload([metric("Node Control/Rebirth", True, datatype=BOOLEAN)])

    assert decode(rebirth_command(T0_MS)) == decode(wanted)


@pytest.mark.parametrize(
    ("topic", "read"),
    [
        ("spBv1.0/Hall/NBIRTH/G3", NodeTopic("Hall", "NBIRTH", "G3", None)),
        ("spBv1.0/Hall/DDATA/G3/Press 7", NodeTopic("Hall", "DDATA", "G3", "Press 7")),
        ("spBv1.0/Hall/NCMD/G3", None),
        ("spBv1.0/STATE/evenrun", None),
        ("spBv1.0/Hall/DDATA/G3", None),
        ("spBv1.0/Hall/NDATA/G3/Press 7", None),
        ("spAv1.0/Hall/NDATA/G3", None),
    ],
)
def test_topics_are_taken_apart(topic: str, read: NodeTopic | None) -> None:
    assert read_topic(topic) == read


def test_topics_are_built_as_the_standard_says() -> None:
    assert state_topic("evenrun") == "spBv1.0/STATE/evenrun"
    assert node_filter("Hall", "G3") == "spBv1.0/Hall/+/G3/#"
