"""From what is known of a device to a message of this contract."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from collector.contract.bodies import BODIES, Frame, Message
from collector.contract.messages import StateMessage
from collector.contract.times import to_text
from collector.contract.unreadable import Unreadable, shown
from collector.settings_sparkplug import MetricAt, SparkplugDevice
from collector.sources.sparkplug.findings import ShotFound, StateFound
from collector.sources.sparkplug.payload import Metric

__all__ = ["shot_of", "state_of"]

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def shot_of(found: ShotFound, frame: Frame) -> Message:
    """The shot.

    Raises
    ------
    Unreadable
        When a metric is not what the settings say.
    """
    device, metrics = found.device, found.metrics
    members: dict[str, Any] = {
        "ended_at": to_text(_moment(found.at_ms) or frame.now),
        "counter": _counter(device, metrics),
        "run": _text(device.run, metrics),
        "tray": _text(device.tray, metrics),
        "values": {each.key: _number(each, metrics) for each in device.values},
        "setpoints": {each.key: _number(each, metrics) for each in device.setpoints},
        "units": {each.key: each.unit for each in (*device.values, *device.setpoints) if each.unit},
    }
    return BODIES["shot"](members, frame)


def state_of(found: StateFound, frame: Frame) -> Message:
    """The state of a press that came or went."""
    return StateMessage(
        site=frame.site, press=frame.press, at=frame.now,
        state="online" if found.online else "offline", reason=found.reason,
        received_at=frame.received_at, source=frame.source,
    )  # fmt: skip


def _moment(at_ms: int | None) -> datetime | None:
    if at_ms is None:
        return None
    try:
        return EPOCH + timedelta(milliseconds=at_ms)
    except OverflowError as error:
        raise Unreadable(
            "absurd_time", f"the time {at_ms} ms is no date", "set the clock of the edge node"
        ) from error


def _counter(device: SparkplugDevice, metrics: Mapping[str, Metric]) -> int | None:
    name = device.counter or device.shot
    metric = metrics.get(name)
    value = None if metric is None or not metric.good else metric.value
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if device.counter is None or value is None:
        return None  # what ends a shot need not count
    raise Unreadable(
        "wrong_type", f"metric {shown(name)} is {shown(value)}, no whole number",
        "name the metric with the counter in sparkplug.counter, or leave it out",
    )  # fmt: skip


def _text(name: str | None, metrics: Mapping[str, Metric]) -> str | None:
    metric = None if name is None else metrics.get(name)
    if metric is None or metric.value is None or not metric.good:
        return None
    return str(metric.value) or None


def _number(place: MetricAt, metrics: Mapping[str, Metric]) -> float | None:
    """The number of a quantity; None is not written: not known since the birth, null, bad or a sentinel."""
    metric = metrics.get(place.metric)
    if metric is None or metric.value is None or not metric.good or metric.value in place.not_written:
        return None
    value = metric.value
    if isinstance(value, bool | str):
        raise Unreadable(
            "wrong_type", f"metric {shown(place.metric)} is {shown(value)}, no number",
            f"map a metric of numbers to {place.key}, or leave it out",
        )  # fmt: skip
    plain = place.factor == 1.0 and place.offset == 0.0
    return float(value) if plain else float(value) * place.factor + place.offset
