"""The generated schemas, and that the fast parser agrees with them."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.models import EXAMPLES, INCOMING, OUTGOING
from collector.contract.outgoing import AlarmMessage, CollectorState
from collector.contract.parse import Policy, parse
from collector.contract.refusal import Refusal
from collector.contract.schema import asyncapi, json_schemas
from collector.contract.topics import PRESS_KINDS, read_topic
from collector.sources.incoming import Incoming

SCHEMAS = json_schemas()
NOW = datetime(2026, 11, 25, 11, 0, tzinfo=UTC)


def parsed(kind: str, members: dict[str, Any]) -> object:
    topic = "evenrun/1/lowland/gauging" if kind == "gauging" else f"evenrun/1/lowland/P1/{kind}"
    arrival = Incoming(topic, json.dumps(members).encode(), "mqtt", "1:1")
    return parse(arrival, now=NOW, received_at=NOW, policy=Policy())


@pytest.mark.parametrize("kind", SCHEMAS)
def test_schemas_are_valid_and_take_their_example(kind: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[kind])

    jsonschema.validate(EXAMPLES[kind], SCHEMAS[kind], cls=jsonschema.Draft202012Validator)


def test_every_incoming_kind_has_a_model_and_an_example_that_is_read() -> None:
    assert set(INCOMING) == {*PRESS_KINDS, "gauging"}
    for kind in INCOMING:
        assert not isinstance(parsed(kind, EXAMPLES[kind]), Refusal)


anything = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(
        ["", "P1", "open", "online", "5.1", "2026-11-24T10:00:00Z", "2026-11-24T10:00:00", "dome"]
    ),
    st.just({}),
    st.just({"cushion": 5.1}),
    st.just({"cushion": "5.1"}),
    st.just({"cushion": True}),
    st.just({"cushion": None}),
    st.just([1]),
)


@given(st.sampled_from(sorted(INCOMING)), st.data())
@settings(max_examples=500, deadline=None)
def test_what_the_schema_refuses_the_parser_refuses(kind: str, data: st.DataObject) -> None:
    members = dict(EXAMPLES[kind])
    member = data.draw(st.sampled_from(sorted(INCOMING[kind].model_fields)))
    members[member] = data.draw(anything)
    if data.draw(st.booleans()):
        members.pop(data.draw(st.sampled_from(sorted(members))))

    if not jsonschema.Draft202012Validator(SCHEMAS[kind]).is_valid(members):
        assert isinstance(parsed(kind, members), Refusal)


@given(st.sampled_from(sorted(INCOMING)), st.data())
@settings(max_examples=300, deadline=None)
def test_wrong_types_are_refused_only_where_the_schema_refuses_them(kind: str, data: st.DataObject) -> None:
    members = dict(EXAMPLES[kind])
    member = data.draw(st.sampled_from(sorted(INCOMING[kind].model_fields)))
    members[member] = data.draw(anything)

    found = parsed(kind, members)
    if isinstance(found, Refusal) and found.reason in {"wrong_type", "missing_field"}:
        names_no_disc = "names no disc" in found.detail
        assert names_no_disc or not jsonschema.Draft202012Validator(SCHEMAS[kind]).is_valid(members)


def test_outgoing_messages_fit_their_schema() -> None:
    alarm = AlarmMessage(
        site="lowland",
        press="P1",
        at=NOW,
        active=True,
        state="latched_acknowledged",
        alarm=3,
        sentence="Cushion falls since shot 12.",
        characteristics=("cushion",),
        since_counter=12,
        hold=("41",),
    )
    state = CollectorState(site="lowland", at=NOW, state="online", reason=None)

    jsonschema.validate(json.loads(alarm.payload()), SCHEMAS["alarm"])
    jsonschema.validate(json.loads(state.payload()), SCHEMAS["collector_state"])


def test_the_asyncapi_document_hangs_together() -> None:
    # AsyncAPI 3.0.0: an operation points to a channel, a channel to its messages, an address names its
    # parameters in braces.
    document = json.loads(json.dumps(asyncapi()))

    assert document["asyncapi"] == "3.0.0"
    assert set(document["channels"]) == {*INCOMING, *OUTGOING}
    for operation in document["operations"].values():
        assert operation["action"] == ("receive" if _channel_of(operation) in INCOMING else "send")
    for kind, channel in document["channels"].items():
        assert all(f"{{{name}}}" in channel["address"] for name in channel["parameters"])
        assert channel["messages"][kind]["$ref"] == f"#/components/messages/{kind}"
        assert document["components"]["messages"][kind]["payload"]["type"] == "object"


def _channel_of(operation: dict[str, Any]) -> str:
    reference: str = operation["channel"]["$ref"]
    return reference.rpartition("/")[2]


def test_incoming_addresses_are_topics_that_are_read() -> None:
    for kind in INCOMING:
        address = (
            asyncapi()["channels"][kind]["address"].replace("{site}", "lowland").replace("{press}", "P1")
        )
        topic = read_topic(address)
        assert topic is not None
        assert topic.kind == kind
