"""What a good message becomes."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from collector.contract.messages import (
    GaugingMessage,
    RunMessage,
    SetpointsMessage,
    StateMessage,
    TrayMessage,
)
from collector.contract.models import EXAMPLES
from collector.contract.parse import Policy, parse
from collector.contract.shot import Shot
from collector.sources.incoming import Incoming

NOW = datetime(2026, 11, 24, 10, 1, tzinfo=UTC)
LATER = datetime(2026, 11, 25, 11, 0, tzinfo=UTC)


def read(kind: str, members: dict[str, Any], now: datetime = NOW) -> Any:
    topic = "evenrun/1/lowland/gauging" if kind == "gauging" else f"evenrun/1/lowland/P1/{kind}"
    arrival = Incoming(topic, json.dumps(members).encode(), "mqtt", "1:1")
    return parse(arrival, now=now, received_at=now, policy=Policy())


def shot(**changes: Any) -> Any:
    return read("shot", {**EXAMPLES["shot"], **changes})


def test_a_shot_is_read_in_canonical_units_and_keeps_what_was_sent() -> None:
    found = shot()

    assert isinstance(found, Shot)
    assert (found.site, found.press, found.counter) == ("lowland", "P1", 1023)
    assert found.ended_at == datetime(2026, 11, 24, 10, 0, 0, 120000, tzinfo=UTC)
    assert found.values["peak_melt_pressure"] == pytest.approx(74.2, rel=1e-15)
    assert found.originals["peak_melt_pressure"] == (742.0, "bar")
    assert found.values["injection_time"] == 2.41
    assert "injection_time" not in found.originals
    assert found.setpoints == {"injection_pressure_limit": 86.0, "cooling_time": 36.0}


def test_a_unit_of_the_base_key_holds_for_every_zone() -> None:
    found = shot(values={"barrel_temperature.1": 391.0, "barrel_temperature.2": 212})

    assert found.values["barrel_temperature.2"] == pytest.approx(100.0)
    assert found.originals["barrel_temperature.1"] == (391.0, "degF")


def test_zero_is_a_value_and_null_is_not_written() -> None:
    found = shot(values={"mold_open_time": 0, "cushion": None})

    assert found.values == {"mold_open_time": 0.0}
    assert found.not_written == ("cushion",)


def test_an_unknown_key_with_a_unit_is_kept_in_the_canonical_unit_of_its_kind() -> None:
    found = shot(
        values={"gate_pressure": 500, "vibration": 0.2},
        units={"gate_pressure": "bar", "vibration": "m/s^2"},
    )

    assert found.values == {"gate_pressure": pytest.approx(50.0), "vibration": 0.2}
    assert found.units == {"gate_pressure": "MPa", "vibration": "meter / second ** 2"}
    assert found.originals == {"gate_pressure": (500.0, "bar")}


def test_kelvin_of_an_unknown_key_stays_kelvin_because_it_may_be_a_difference() -> None:
    found = shot(values={"mold_difference": 3.0}, units={"mold_difference": "K"})

    assert (found.values["mold_difference"], found.units["mold_difference"]) == (3.0, "K")


def test_a_counter_written_as_five_point_zero_is_the_whole_number_five() -> None:
    assert shot(counter=5.0).counter == 5


def test_a_time_of_another_zone_is_the_same_moment_in_utc() -> None:
    found = shot(ended_at="2026-11-24T11:00:00.120+01:00")

    assert found.ended_at == datetime(2026, 11, 24, 10, 0, 0, 120000, tzinfo=UTC)
    assert found.ended_at.tzinfo is UTC


def test_members_that_the_contract_does_not_name_are_passed_over() -> None:
    assert isinstance(shot(firmware={"version": [1, 2]}), Shot)


def test_the_bounds_of_the_service_clock_are_inclusive() -> None:
    policy = Policy()
    for edge in (policy.max_ahead, -policy.max_age):
        assert isinstance(shot(ended_at=(NOW + edge).isoformat()), Shot)


def test_every_other_kind_is_read() -> None:
    kinds = {"run": RunMessage, "tray": TrayMessage, "setpoints": SetpointsMessage, "state": StateMessage}

    for kind, expected in kinds.items():
        assert isinstance(read(kind, EXAMPLES[kind]), expected)


def test_a_last_will_without_a_time_holds_from_now() -> None:
    found = read("state", {"state": "offline"})

    assert (found.at, found.state, found.reason) == (NOW, "offline", None)


def test_a_gauging_is_converted_and_keeps_what_was_sent() -> None:
    found = read("gauging", EXAMPLES["gauging"], now=LATER)

    assert isinstance(found, GaugingMessage)
    assert found.value == pytest.approx(0.112 * 25.4)
    assert (found.unit, found.original) == ("mm", (0.112, "in"))
    assert found.gauged_at is not None
    assert LATER - found.gauged_at == timedelta(minutes=50)


def test_a_gauging_without_a_time_has_no_known_age() -> None:
    members = {key: value for key, value in EXAMPLES["gauging"].items() if key != "gauged_at"}

    assert read("gauging", members).gauged_at is None


@pytest.mark.parametrize(
    "naming",
    [
        {"press": "P1", "counter": 3},
        {"tray": "41", "position": 2},
        {"disc_mark": "L5-0042"},
        {"order_batch": "list 7", "order_index": 0},
    ],
)
def test_a_disc_can_be_named_in_four_ways(naming: dict[str, Any]) -> None:
    found = read("gauging", {"characteristic": "weight", "value": 174.2, **naming})

    assert isinstance(found, GaugingMessage)
