"""Settings of Sparkplug B: which metrics of which device make a shot of which press."""

from __future__ import annotations

from typing import Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from collector.contract.mapping_model import Scalar
from collector.contract.quantities import Scope
from collector.contract.readings import Problem, how_to_read
from collector.contract.setting_types import Factor
from collector.contract.topics import is_press_name
from collector.sources.sparkplug.topics import is_id

__all__ = ["MetricAt", "SparkplugDevice", "SparkplugHost", "check_devices"]


class MetricAt(BaseModel):
    """A quantity: which metric it is, in which unit, and what in its place means "not written"."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    metric: str = Field(min_length=1, max_length=500)
    key: str
    unit: str | None = None
    factor: Factor = 1.0
    offset: float = Field(0.0, allow_inf_nan=False)
    not_written: tuple[Scalar, ...] = ()


class SparkplugDevice(BaseModel):
    """One ``[[sparkplug]]``: a device of an edge node, or the edge node itself, as a press."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    group: str
    edge_node: str
    device: str | None = Field(None, description="without it, the metrics of the edge node itself")
    press: str
    shot: str = Field(min_length=1, description="metric whose change ends a shot; its time is the shot's")
    counter: str | None = Field(None, description="metric with the press's counter; without it, that of shot")
    run: str | None = Field(None, description="metric with the name of the run")
    tray: str | None = Field(None, description="metric with the tray")
    values: tuple[MetricAt, ...] = Field(min_length=1, max_length=500)
    setpoints: tuple[MetricAt, ...] = Field((), max_length=500)

    @field_validator("group", "edge_node", "device")
    @classmethod
    def _id(cls, value: str | None) -> str | None:
        if value is not None and not is_id(value):
            raise ValueError(f"{value!r} cannot be an id; use 1 to 200 printable signs without + # /")
        return value

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if not is_press_name(self.press):
            raise ValueError(f"{self.press!r} cannot name a press; use printable signs without + # /")
        _check_keys(self.values, "shot")
        _check_keys(self.setpoints, "setpoint")
        return self


class SparkplugHost(BaseModel):
    """This service as a host application."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    host_id: str = Field("evenrun", description="names this host in its STATE topic; no other may have it")
    reorder_s: float = Field(
        2.0, ge=0, le=60, description="wait for a missing message before births are asked for, s"
    )

    @field_validator("host_id")
    @classmethod
    def _id(cls, value: str) -> str:
        if not is_id(value):
            raise ValueError(f"{value!r} cannot be an id; use 1 to 200 printable signs without + # /")
        return value


def check_devices(devices: tuple[SparkplugDevice, ...]) -> None:
    """Hold the devices against each other.

    Raises
    ------
    ValueError
        When one is mapped twice, or two are one press.
    """
    places, presses = set(), set()
    for each in devices:
        place = (each.group, each.edge_node, each.device)
        if place in places:
            raise ValueError(f"{'/'.join(filter(None, place))} is mapped twice; keep one of them")
        if each.press in presses:
            raise ValueError(f"two devices are the press {each.press!r}; give each a press of its own")
        places.add(place)
        presses.add(each.press)


def _check_keys(places: tuple[MetricAt, ...], scope: Scope) -> None:
    keys = [place.key for place in places]
    for place in places:
        if keys.count(place.key) > 1:
            raise ValueError(f"{place.key} is mapped twice")
        reading = how_to_read(place.key, place.unit, scope)
        if isinstance(reading, Problem):
            raise ValueError(f"{place.key}: {reading.detail}; {reading.remedy}")
