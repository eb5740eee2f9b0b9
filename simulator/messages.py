"""Stories as messages of contract version 1, and in their own time."""

import json
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from collector.contract.times import to_text
from collector.contract.topics import gauging_topic, press_topic
from simulator.floor import SITE
from simulator.records import SimEvent, SimGauging, SimRecord, SimShot, happened

# P2's gateway is an older one and sends two kinds of values in units of its own.
GATEWAY_UNITS: dict[str, dict[str, str]] = {"P2": {"peak_melt_pressure": "bar", "barrel_temperature": "degF"}}
FROM_CANONICAL: dict[str, Callable[[float], float]] = {
    "bar": lambda mpa: round(mpa * 10, 2),
    "degF": lambda degc: round(degc * 1.8 + 32, 2),
}
RETAINED = frozenset({"setpoints", "state"})


@dataclass(frozen=True, slots=True)
class Message:
    """One MQTT message; `sender` is the press whose gateway sends it, or "gauging"."""

    sender: str
    topic: str
    payload: bytes
    retain: bool = False


def to_message(record: SimRecord | SimGauging, site: str = SITE) -> Message:
    """Write a record as its message.

    Parameters
    ----------
    record : SimShot, SimEvent or SimGauging
    site : str
        Site in the topic.

    Returns
    -------
    Message
        The same record always gives the same bytes.
    """
    if isinstance(record, SimGauging):
        return Message("gauging", gauging_topic(site), to_json(_gauging(record)))
    kind = "shot" if isinstance(record, SimShot) else record.kind
    body = _shot(record) if isinstance(record, SimShot) else _event(record)
    topic = press_topic(site, record.press, kind)
    return Message(record.press, topic, to_json(body), retain=kind in RETAINED)


def _shot(shot: SimShot) -> dict[str, Any]:
    units = GATEWAY_UNITS.get(shot.press, {})
    body: dict[str, Any] = {
        "press": shot.press,
        "counter": shot.counter,
        "ended_at": to_text(shot.ended_at),
        "run": shot.run,
        "tray": shot.tray,
        "tray_position": shot.tray_position,
        "values": _in_units(shot.values, units),
        "setpoints": _in_units(shot.setpoints, units),
    }
    return {**body, "units": units} if units else body


def _event(event: SimEvent) -> dict[str, Any]:
    units = GATEWAY_UNITS.get(event.press, {})
    body = {"press": event.press, "at": to_text(event.at), **event.payload}
    if "setpoints" not in body or not units:
        return body
    return {**body, "setpoints": _in_units(body["setpoints"], units), "units": units}


def _gauging(gauging: SimGauging) -> dict[str, Any]:
    body: dict[str, Any] = {"press": gauging.press, "run": gauging.run, "counter": gauging.counter}
    if gauging.counter is None:
        body = {"press": gauging.press, "tray": gauging.tray, "position": gauging.tray_position}
    return {
        **body,
        "characteristic": gauging.characteristic,
        "value": gauging.value,
        "gauged_at": to_text(gauging.gauged_at),
        "gauge": gauging.gauge,
        "who": gauging.who,
    }


def _in_units(values: Mapping[str, float], units: Mapping[str, str]) -> dict[str, float]:
    """Values in a gateway's own units; a unit for `barrel_temperature` holds for all its zones."""
    return {
        key: value if unit is None else FROM_CANONICAL[unit](value)
        for key, value in values.items()
        for unit in (units.get(key, units.get(key.partition(".")[0])),)
    }


def to_json(body: Mapping[str, Any]) -> bytes:
    """Compact JSON; members keep their order, so that the same body gives the same bytes."""
    return json.dumps(body, separators=(",", ":"), allow_nan=False).encode()


def paced(
    records: Iterable[SimRecord],
    *,
    speed: float,
    monotonic: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[SimRecord]:
    """Let a story happen in time: `speed` seconds of it in one second.

    Parameters
    ----------
    records : iterable of SimShot or SimEvent
        In time order; the first comes at once.
    speed : float
        Above 0.
    """
    began, first = monotonic(), None
    for record in records:
        moment = happened(record)
        first = moment if first is None else first
        wait_s = (moment - first).total_seconds() / speed - (monotonic() - began)
        if wait_s > 0:
            sleep(wait_s)
        yield record
