"""What may stand in a ``[[sparkplug]]`` table, and what is wrong with one in a sentence."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from collector.settings import Settings
from collector.settings_sparkplug import MetricAt, SparkplugDevice

README = (Path(__file__).parents[4] / "README.md").read_text(encoding="utf-8")
DEVICE: dict[str, Any] = {
    "group": "Hall", "edge_node": "G3", "device": "Press 7", "press": "P7", "shot": "Counter",
    "values": [{"metric": "Cushion", "key": "cushion"}],
}  # fmt: skip


def test_the_example_of_the_readme_is_one() -> None:
    text = README.split("```toml\n[[sparkplug]]")[1].split("```")[0]
    (device,) = Settings.model_validate(tomllib.loads(f"[[sparkplug]]{text}")).sparkplug

    assert (device.press, device.shot) == ("P7", "Cycle/Counter")


@pytest.mark.parametrize("model", [SparkplugDevice, MetricAt])
def test_every_key_is_named_in_the_readme(model: type[SparkplugDevice] | type[MetricAt]) -> None:
    assert [name for name in model.model_fields if f"`{name}`" not in README] == []


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"group": "Hall/3"}, "'Hall/3' cannot be an id"),
        ({"edge_node": "+"}, "'+' cannot be an id"),
        ({"press": "collector"}, "cannot name a press"),
        ({"values": []}, "at least 1 item"),
        ({"values": [{"metric": "m", "key": "cushion"}] * 2}, "cushion is mapped twice"),
        ({"values": [{"metric": "m", "key": "cushion", "unit": "bar"}]}, "cushion"),
        ({"values": [{"metric": "m", "key": "oil_temper"}]}, "oil_temper"),
        ({"values": [{"metric": "m", "key": "cushion", "factor": 0}]}, "the factor is 0"),
        ({"shots": "Counter"}, "shots"),
    ],
)
def test_a_mistake_is_named(changed: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError) as caught:
        SparkplugDevice.model_validate({**DEVICE, **changed})

    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("second", "says"),
    [
        ({"press": "P8"}, "Hall/G3/Press 7 is mapped twice"),
        ({"device": "Press 8"}, "two devices are the press 'P7'"),
    ],
)
def test_devices_are_held_against_each_other(second: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        Settings.model_validate({"sparkplug": [DEVICE, {**DEVICE, **second}]})
