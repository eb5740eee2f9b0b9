"""Proposed mappings: what they recognize, which doubts they mark, and that they read as mappings.

That a name means a quantity is common practice, no source; the proposals are for a person to check.
"""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.mapping_draft import NOWHERE, Proposal
from collector.contract.mapping_model import JsonMapping
from collector.contract.mapping_proposal import propose
from collector.contract.mapping_units import guess_unit_of
from collector.contract.mapping_words import guess_key, guess_unit
from collector.contract.messages import StateMessage
from collector.contract.shot import Shot
from collector.settings_mapping import read_mapping_text
from tests.collector.contract.foreign import (
    FLAT,
    FLAT_TOPIC,
    LISTED,
    LISTED_TOPIC,
    NESTED,
    NESTED_TOPIC,
    read,
)


def only(documents: dict[str, Any]) -> Proposal:
    (proposal,) = propose(documents, site="lowland")
    return proposal


def mapping(proposal: Proposal) -> JsonMapping:
    assert proposal.toml is not None
    (found,) = read_mapping_text(proposal.toml, "the proposal")
    return found


def toml(proposal: Proposal) -> str:
    assert proposal.toml is not None
    return proposal.toml


def test_nested_objects_of_two_presses_become_one_mapping() -> None:
    other = copy.deepcopy(NESTED)
    del other["header"]["order"]
    eight = NESTED_TOPIC.replace("7", "8")
    proposal = only({NESTED_TOPIC: [NESTED], eight: [other]})
    found = read(toml(proposal), NESTED_TOPIC, NESTED)

    assert proposal.topics == (NESTED_TOPIC, eight)
    assert mapping(proposal).topic == "plant/{site}/{press}/cycle"
    assert isinstance(found, Shot)
    assert (found.press, found.counter, found.run) == ("machine-7", 1023, "412")
    assert found.values == pytest.approx(
        {
            "injection_time": 2.41, "peak_melt_pressure": 74.2, "switchover_position": 14.2, "cushion": 0.0,
            "barrel_temperature.1": 199.5, "barrel_temperature.2": 200.25,
        }
    )
    assert found.setpoints == {"switchover_position": 14.0, "cooling_time": 36.0}


def test_what_is_in_doubt_says_so_in_its_line() -> None:
    lines = toml(only({NESTED_TOPIC: [NESTED]})).splitlines()

    def doubt(beginning: str, after: str) -> str:
        place = lines.index(after)
        line = next(each for each in lines[place:] if each.startswith(beginning))
        return line.partition("# doubt: ")[2]

    assert "'machine-7', looks like a press; only one such topic was heard" in doubt("topic", lines[1])
    pressure = doubt("unit", 'key = "peak_melt_pressure"')
    assert "bar is plausible for 742; it may be psi" in pressure
    assert "or of the hydraulic oil?" in pressure
    assert "0 came; if it means no value" in doubt("unit", 'key = "cushion"')
    assert doubt("unit", 'key = "injection_time"') == ""  # its name says milliseconds


def test_a_list_of_names_brings_the_units_of_the_sender() -> None:
    proposal = only({LISTED_TOPIC: [LISTED]})
    found = read(toml(proposal), LISTED_TOPIC, LISTED)

    assert mapping(proposal).press_pointer == "/machine"
    assert isinstance(found, Shot)
    assert (found.press, found.counter) == ("P3", 88)
    assert found.originals == {"peak_melt_pressure": (10762.0, "psi")}
    assert '"screw_torque"  # doubt: the name also says index' in toml(proposal)


def test_a_flat_message_in_local_words_and_local_time() -> None:
    cold = {**FLAT, "imm_time": "10:00:00", "imm_act_cush": "6,1"}
    proposal = only({FLAT_TOPIC: [cold, FLAT]})
    found = read(toml(proposal), FLAT_TOPIC, cold)

    assert isinstance(found, Shot)
    assert found.values == pytest.approx({"cycle_time": 58.31, "cushion": 6.1, "mold_core_temperature": 40.0})
    assert mapping(proposal).values[1].not_written == ("---",)
    assert "# doubt: no zone is named" in toml(proposal)


def test_states_become_words_and_messages_of_several_kinds_several_mappings() -> None:
    stop = {"event": "mode", "ts": 1795514400, "mode": "STOP"}
    auto = {"event": "mode", "ts": 1795514400, "mode": "Auto"}
    shot = {"event": "cycle", "ts": 1795514400, "cycle_time": 58.3}
    proposals = propose({"g/P1": [stop, auto, shot]}, site="lowland")
    whole = "\n".join(toml(each) for each in proposals)
    found = read(whole, "g/P1", stop)

    assert [mapping(each).kind for each in proposals] == ["state", "shot"]
    assert isinstance(found, StateMessage)
    assert found.state == "stopped"
    assert isinstance(read(whole, "g/P1", shot), Shot)


def test_what_nothing_tells_is_left_out_and_said() -> None:
    proposal = only({"a/b": [{"cushion": 5.0, "qx17": 3.25, "note": "x"}]})

    assert mapping(proposal).press == "P1"
    assert NOWHERE in toml(proposal)
    assert "neither topic nor message names the press" in toml(proposal)
    assert "#   /qx17  3.25" in toml(proposal)
    assert only({"a/b": [{"qx17": 3.25}]}).toml is None


def test_a_quantity_at_two_places_is_proposed_once_and_the_other_place_is_told() -> None:
    old = {"barrel": 3.0, "cushion": 4.0}
    proposal = only({"a/b": [{"cushion_mm": 5.0, "barrel": [200.0, 201.0], "old": old}]})

    assert [each.key for each in mapping(proposal).values] == ["cushion", "barrel_temperature"]
    assert "#   /old/barrel  3.0" in toml(proposal)
    units = only({"a/b": [{"switchover_position_mm": 14.0, "set": {"switchover_position_in": 0.55}}]})
    assert mapping(units).setpoints == ()


@pytest.mark.parametrize(
    ("name", "key", "unit"),
    [
        ("InjectionTime", "injection_time", None),
        ("ActPmax_bar", "peak_melt_pressure", "bar"),
        ("T_core [°C]", "mold_core_temperature", "degC"),
        ("barrelTemp3", "barrel_temperature", None),
        ("Zykluszeit_s", "cycle_time", "s"),
        ("cycle_time_ms", "cycle_time", "ms"),
        ("clamp force (kN)", "clamp_force", "kN"),
        ("hydraulic_pressure_max", "peak_hydraulic_pressure", None),
        ("PartWeight_g", "part_weight", "g"),
        ("vibration", None, None),
    ],
)
def test_names_tell_quantity_and_unit(name: str, key: str | None, unit: str | None) -> None:
    found = guess_key((name,))

    assert (found[0] if found else None) == key
    assert guess_unit(name) == unit


def test_a_unit_that_is_not_plausible_is_doubted_even_when_it_is_named() -> None:
    assert guess_unit_of("peak_melt_pressure", [74.2], "MPa").doubt is None
    assert "not plausible" in str(guess_unit_of("peak_melt_pressure", [10762.0], "MPa").doubt)
    assert guess_unit_of("peak_melt_pressure", [10762.0], None).unit == "psi"
    assert "no usual unit" in str(guess_unit_of("cushion", [1e9], None).doubt)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=8), inner, max_size=5),
    max_leaves=20,
)
NAMES = st.sampled_from(
    ["cushion", "cycle_time", "pmax", "barrel", "zones", "ts", "end", "counter", "machine", "mode", "type",
     "name", "value", "unit", "set", "date", "time", "a/b", "m~n", 'q"', "\x7f", "\ud800", "t_core"]
)
LIKELY = st.recursive(
    st.floats()
    | st.integers()
    | st.sampled_from(["2026-11-24", "10:00:00", "5,1", "AUTO", "bar", "", "---"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=6),
    max_leaves=25,
)
TOPICS = st.sampled_from(
    ["g/P1", "g/P2", "g", "#", "+/x", "$SYS/a", "evenrun/9/x", "{press}/y", "a//b", "\u2028"]
)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(TOPICS, st.lists(JSON | LIKELY, min_size=1, max_size=4), max_size=4))
def test_whatever_is_heard_a_proposal_is_a_mapping_or_none(documents: dict[str, list[Any]]) -> None:
    whole = "".join(each.toml or "" for each in propose(documents, site="lowland"))

    if whole:
        whole.encode()
        mappings = read_mapping_text(whole, "the proposals")
        for topic, known in documents.items():
            for document in known:
                payload = json.dumps(document).encode()
                assert read(whole, topic, payload) is not None
        assert len({each.name for each in mappings}) == len(mappings)
