"""Foreign JSON by its mapping: three shapes made by hand, every kind, and every refusal with its pointer.

Conversions are held against published factors: NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757e3 Pa;
1 bar = 1e5 Pa; degrees Fahrenheit (t - 32) / 1.8.
"""

from __future__ import annotations

import copy
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.messages import (
    GaugingMessage,
    RunMessage,
    SetpointsMessage,
    StateMessage,
    TrayMessage,
)
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from tests.collector.contract.foreign import (
    FLAT,
    FLAT_MAPPING,
    FLAT_TOPIC,
    LISTED,
    LISTED_MAPPING,
    LISTED_TOPIC,
    NESTED,
    NESTED_MAPPING,
    NESTED_TOPIC,
    NOW,
    read,
    refused,
)


def shot(toml: str, topic: str, document: Any) -> Shot:
    found = read(toml, topic, document)
    assert isinstance(found, Shot), found
    return found


def test_nested_objects_with_milliseconds_and_zones() -> None:
    found = shot(NESTED_MAPPING, NESTED_TOPIC, NESTED)

    assert (found.site, found.press, found.counter, found.run, found.tray) == (
        "lowland", "P1", 1023, "412", None
    )
    assert found.ended_at == datetime(2026, 11, 24, 10, 0, 0, 120000, tzinfo=UTC)
    assert found.values == pytest.approx(
        {
            "injection_time": 2.41, "peak_melt_pressure": 74.2, "switchover_position": 14.2,
            "barrel_temperature.1": 199.5, "barrel_temperature.2": 200.25,
        }
    )
    assert found.originals == {"peak_melt_pressure": (742.0, "bar")}
    assert found.setpoints == {"switchover_position": 14.0, "cooling_time": 36.0}
    assert found.not_written == ("cushion", "barrel_temperature.3", "barrel_temperature.4")


def test_a_list_of_names_in_any_order_with_units_of_the_sender() -> None:
    found = shot(LISTED_MAPPING, LISTED_TOPIC, LISTED)
    turned = shot(LISTED_MAPPING, LISTED_TOPIC, {**LISTED, "readings": LISTED["readings"][::-1]})

    assert (found.press, found.counter) == ("P3", 88)
    assert found.ended_at == datetime(2026, 11, 24, 10, tzinfo=UTC)
    assert found.values["peak_melt_pressure"] == pytest.approx(10762.0 * 6.894757e-3, rel=1e-6)
    assert found.units == {"torque_index": "N*m"}
    assert turned == found


def test_a_flat_message_with_prefixes_numbers_in_quotes_and_local_time() -> None:
    found = shot(FLAT_MAPPING, FLAT_TOPIC, FLAT)

    assert (found.press, found.counter) == ("P4", 815)
    assert found.ended_at == datetime(2026, 11, 24, 10, tzinfo=UTC)  # Berlin is an hour ahead in November
    assert found.values == pytest.approx({"cycle_time": 58.31, "mold_core_temperature": 40.0})
    assert found.not_written == ("cushion",)


def test_the_sender_s_document_is_left_as_it_is() -> None:
    before = copy.deepcopy(LISTED)

    shot(LISTED_MAPPING, LISTED_TOPIC, LISTED)

    assert before == LISTED


def test_what_a_message_leaves_out_is_absent_and_zero_is_a_value_unless_said_otherwise() -> None:
    found = shot(FLAT_MAPPING, FLAT_TOPIC, {**FLAT, "imm_act_cyc": "0", "imm_act_tcore_f": None})

    assert found.values == {"cycle_time": 0.0}
    assert found.not_written == ("cushion", "mold_core_temperature")
    del (shorter := dict(FLAT))["imm_act_cush"]
    assert shot(FLAT_MAPPING, FLAT_TOPIC, shorter).not_written == ()


def kind(name: str, rest: str) -> str:
    return (
        f'[[mapping]]\nname = "m"\ntopic = "g/{{press}}"\nkind = "{name}"\n'
        f'[mapping.time]\npointer = "/t"\nformat = "epoch_s"\n{rest}'
    )


T = NOW.timestamp() - 60


def test_a_state_by_the_words_of_the_sender() -> None:
    toml = kind(
        "state",
        '[mapping.fields.state]\npointer = "/mode"\nwords = {"2" = "automatic", "true" = "stopped"}\n'
        '[mapping.fields.reason]\nconstant = "told by the gateway"\n',
    )
    found = read(toml, "g/P1", {"t": T, "mode": 2})

    assert isinstance(found, StateMessage)
    assert (found.press, found.state, found.reason) == ("P1", "automatic", "told by the gateway")
    stopped = read(toml, "g/P1", {"t": T, "mode": True})
    assert isinstance(stopped, StateMessage)
    assert stopped.state == "stopped"
    refusal = refused(toml, "g/P1", {"t": T, "mode": 3})
    assert refusal.detail == "mapping 'm': /mode is 3, which is not in its words"


def test_setpoints_a_run_with_its_lot_and_a_tray() -> None:
    told = read(
        kind("setpoints", '[[mapping.setpoints]]\nkey = "hold_pressure"\npointer = "/ph"\nunit = "bar"\n'),
        "g/P1", {"t": T, "ph": 410},
    )
    run = read(
        kind("run", '[mapping.fields]\nrun = "/o"\nlot = "/lot"\naction = {constant = "open"}\n'),
        "g/P1", {"t": T, "o": 77, "lot": "4471"},
    )
    tray = read(kind("tray", '[mapping.fields]\ntray = "/b"\n'), "g/P1", {"t": T, "b": "42"})

    assert isinstance(told, SetpointsMessage)
    assert told.setpoints == pytest.approx({"hold_pressure": 41.0})
    assert isinstance(run, RunMessage)
    assert (run.run, run.lot, run.action) == ("77", "4471", "open")
    assert isinstance(tray, TrayMessage)
    assert tray.tray == "42"


def test_a_gauging_is_one_value_of_one_disc() -> None:
    toml = kind(
        "gauging",
        '[mapping.fields]\ncounter = "/shot"\ngauge = {constant = "height gauge 1"}\n'
        'temperature_degc = "/temp"\n[[mapping.values]]\nkey = "dome"\npointer = "/h"\nunit = "in"\n',
    )
    found = read(toml, "g/P1", {"t": T, "shot": 12, "h": 0.112, "temp": 22.5})

    assert isinstance(found, GaugingMessage)
    assert (found.press, found.counter, found.gauge, found.temperature_degc) == (
        "P1", 12, "height gauge 1", 22.5
    )
    assert found.value == pytest.approx(0.112 * 25.4)
    assert refused(toml, "g/P1", {"t": T, "shot": 12}).reason == "missing_field"


def test_conditions_choose_between_the_mappings_of_a_topic() -> None:
    stop = NESTED_MAPPING + (
        '[[mapping]]\nname = "stops"\ntopic = "plant/{site}/machine-{press}/#"\nkind = "state"\n'
        'when = {"/header/type" = "stop"}\n[mapping.fields.state]\nconstant = "stopped"\n'
    )
    found = read(stop, NESTED_TOPIC, {"header": {"type": "stop"}})

    assert isinstance(found, StateMessage)
    assert isinstance(read(stop, NESTED_TOPIC, NESTED), Shot)
    other = refused(stop, NESTED_TOPIC, {"header": {"type": "heartbeat"}})
    assert "none of its topic's mappings, 'hall' and 'stops'" in other.detail


def changed(document: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    copied = copy.deepcopy(document)
    node = copied
    *before, last = path.split(".")
    for step in before:
        node = node[step]
    node[last] = value
    return copied


@pytest.mark.parametrize(
    ("path", "value", "reason", "says"),
    [
        ("header.ts", None, "missing_field", "/header/ts (the time) gives nothing: it is null"),
        ("header.ts", "soon", "wrong_type", "/header/ts is the text 'soon'"),
        ("header.ts", 1e300, "wrong_type", "out of the range of times"),
        ("header.ts", True, "wrong_type", "/header/ts is the truth value True"),
        ("header.ts", 86_400_000, "absurd_time", "/header/ts (our /ended_at) 1970-01-02"),
        ("header.seq", 1.5, "wrong_type", "/header/seq (our /counter) is the number 1.5"),
        ("header.seq", "twelve", "wrong_type", "/header/seq is the text 'twelve'"),
        ("header.seq", -4, "out_of_range", "/header/seq (our /counter) is -4"),
        ("header.order", {"no": 1}, "wrong_type", "/header/order is an object"),
        ("process.injection.pmax", "742", "wrong_type", "/process/injection/pmax is the text '742'"),
        ("process.injection.pmax", True, "wrong_type", "/process/injection/pmax is the truth value"),
        ("process.injection.pmax", 10**400, "not_finite", "/process/injection/pmax (our"),
        ("process.injection.time_ms", 10**400, "not_finite", "/process/injection/time_ms is too large"),
        ("process.barrel.zones", 210.0, "wrong_type", "/process/barrel/zones is the number 210.0"),
        ("process.barrel.zones", [1] * 100, "wrong_type", "/process/barrel/zones is a list of 100"),
        ("process.barrel.zones", [{"act": "x"}], "wrong_type", "/process/barrel/zones/0/act is the text"),
        ("process", {}, "missing_field", "/process/injection/time_ms (the first of 5 values, none"),
    ],
)
def test_a_refusal_names_mapping_pointer_and_reason(path: str, value: Any, reason: str, says: str) -> None:
    refusal = refused(NESTED_MAPPING, NESTED_TOPIC, changed(NESTED, path, value))

    assert refusal.reason == reason
    assert refusal.detail.startswith("mapping 'hall': ")
    assert says in refusal.detail
    assert refusal.remedy


def test_refusals_of_lists_units_and_presses() -> None:
    def listed(**changes: Any) -> Refusal:
        return refused(LISTED_MAPPING, LISTED_TOPIC, {**LISTED, **changes})

    pmax = {"name": "Pmax", "value": 1, "unit": "furlong"}
    assert "/readings/Pmax/value (our /values/peak_melt_pressure)" in listed(readings=[pmax]).detail
    assert listed(readings=[pmax, pmax]).reason == "duplicate_key"
    assert "/readings/0 has no 'name'" in listed(readings=[7]).detail
    assert "/readings is an object" in listed(readings={}).detail
    assert "/readings/Pmax/value (peak_melt_pressure) gives nothing" in listed(readings=[]).detail
    assert listed(machine="a/b").reason == "unknown_press"
    assert listed(machine="collector").reason == "unknown_press"
    assert listed(machine=None).reason == "missing_field"
    assert refused(NESTED_MAPPING, NESTED_TOPIC.replace("7", "9"), NESTED).reason == "unknown_press"
    known = refused(LISTED_MAPPING, LISTED_TOPIC, LISTED, known_presses=frozenset({"P1"}))
    assert known.reason == "unknown_press"


# Europe/Berlin, 29 March 2026: 02:00 to 03:00 is left out; 25 October 2026: 02:00 to 03:00 comes twice, first
# as summer time (UTC+2). Directive 2000/84/EC: both changes are at 01:00 UTC.
TWICE = [datetime(2026, 10, 25, hour, 10, 5, tzinfo=UTC) for hour in (0, 1)]


def test_a_local_time_that_clocks_leave_out_is_refused() -> None:
    gap = refused(FLAT_MAPPING, FLAT_TOPIC, {**FLAT, "imm_date": "29.03.2026", "imm_time": "02:30:00"})

    assert "/imm_date with /imm_time" in gap.detail
    assert "clocks in Europe/Berlin leave out" in gap.detail


@pytest.mark.parametrize("made", TWICE, ids=str)
@pytest.mark.parametrize("after_s", [-300, 2, 1700])
def test_a_local_time_that_comes_twice_is_the_one_that_is_now(made: datetime, after_s: float) -> None:
    document = {**FLAT, "imm_date": "25.10.2026", "imm_time": "02:10:05"}
    found = read(FLAT_MAPPING, FLAT_TOPIC, document, now=made + timedelta(seconds=after_s))

    assert isinstance(found, Shot), found
    assert found.ended_at == made


def test_a_local_time_that_comes_twice_is_refused_once_nobody_can_tell_which() -> None:
    document = {**FLAT, "imm_date": "25.10.2026", "imm_time": "02:10:05"}
    late = refused(FLAT_MAPPING, FLAT_TOPIC, document, now=datetime(2026, 10, 25, 1, 41, tzinfo=UTC))

    assert "clocks in Europe/Berlin show twice, and it came too late to tell which is meant" in late.detail


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"[" * 5000 + b"]" * 5000, "too_deep"),
        (b'{"a":' * 9 + b"1" + b"}" * 9, "too_deep"),
        (json.dumps({"a": [0] * 5000}).encode(), "too_large"),
        (json.dumps({str(n): n for n in range(5000)}).encode(), "too_large"),
        (b" " * 70_000, "too_large"),
        (b'{"a": 1, "a": 2}', "duplicate_key"),
        (b'{"a": NaN}', "not_finite"),
        (b"\xff\xfe{}", "not_json"),
        (b"", "not_json"),
        (b'{"x": ' + b"9" * 5000 + b"}", "not_json"),
    ],
)
def test_a_hostile_payload_is_a_refusal_with_its_bytes(payload: bytes, reason: str) -> None:
    refusal = refused(NESTED_MAPPING, NESTED_TOPIC, payload)

    assert refusal.reason == reason
    assert refusal.raw == payload


def test_commas_in_a_text_are_no_members() -> None:
    found = read(FLAT_MAPPING, FLAT_TOPIC, {**FLAT, "note": "," * 6000})

    assert isinstance(found, Shot)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner, max_size=5),
    max_leaves=20,
)
SHAPES = [
    (NESTED_MAPPING, NESTED_TOPIC, NESTED),
    (LISTED_MAPPING, LISTED_TOPIC, LISTED),
    (FLAT_MAPPING, FLAT_TOPIC, FLAT),
]


def places(node: Any, before: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    steps = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [before, *(place for step, child in steps for place in places(child, (*before, step)))]


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(SHAPES), JSON, st.data())
def test_whatever_stands_anywhere_in_a_message_it_reads_or_is_refused(
    shape: tuple[str, str, Any], value: Any, data: st.DataObject
) -> None:
    toml, topic, document = shape
    place = data.draw(st.sampled_from(places(document)))
    spoiled: Any = copy.deepcopy(document)
    if not place:
        spoiled = value
    else:
        node = spoiled
        for step in place[:-1]:
            node = node[step]
        node[place[-1]] = value

    found = read(toml, topic, spoiled)

    assert isinstance(found, Shot | Refusal)
    if isinstance(found, Refusal):
        assert found.detail
        assert found.remedy


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(SHAPES), st.binary(max_size=300))
def test_any_bytes_at_all_read_or_are_refused(shape: tuple[str, str, Any], payload: bytes) -> None:
    toml, topic, _ = shape

    assert isinstance(read(toml, topic, payload), Shot | Refusal)
