"""From the members of one message to its record, one function per kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import cast, get_args

from collector.contract import members as read
from collector.contract.messages import (
    GaugingMessage,
    PressState,
    RunAction,
    RunMessage,
    SetpointsMessage,
    StateMessage,
    TrayMessage,
)
from collector.contract.policy import Policy
from collector.contract.quantities import unit as canonical_unit
from collector.contract.readings import (
    Problem,
    Readings,
    as_number,
    converted,
    how_to_read,
    read_block,
    read_units,
)
from collector.contract.shot import Shot
from collector.contract.strict_json import Members
from collector.contract.topics import Kind
from collector.contract.unreadable import Unreadable, shown

Message = Shot | RunMessage | TrayMessage | SetpointsMessage | StateMessage | GaugingMessage

RUN_ACTIONS: tuple[str, ...] = get_args(RunAction)
PRESS_STATES: tuple[str, ...] = get_args(PressState)
A_TIME = "an RFC 3339 time in quotes, such as 2026-11-24T10:00:00Z"


@dataclass(frozen=True, slots=True)
class Frame:
    """What is known of a message besides its members."""

    site: str
    press: str
    now: datetime
    received_at: datetime
    source: str
    policy: Policy

    def moment(self, members: Members, name: str) -> datetime:
        """A time that must be there and must not be absurd."""
        return cast(datetime, read.required(self.optional_moment(members, name), name, A_TIME))

    def optional_moment(self, members: Members, name: str) -> datetime | None:
        """A time that may be left out."""
        return read.moment(members, name, self.now, self.policy.max_age, self.policy.max_ahead)


def shot(members: Members, frame: Frame) -> Shot:
    """Read a shot: its time and a block of values, with setpoints, counter, run and tray if known."""
    unit_names = read_units(members)
    found, told = Readings(), Readings()
    values = read.required(members.get("values"), "values", "an object of numbers by key")
    read_block(values, unit_names, "values", "shot", found)
    if members.get("setpoints") is not None:
        read_block(members["setpoints"], unit_names, "setpoints", "setpoint", told)
    return Shot(
        site=frame.site,
        press=frame.press,
        counter=read.whole(members, "counter", 0),
        ended_at=frame.moment(members, "ended_at"),
        received_at=frame.received_at,
        run=read.text(members, "run"),
        tray=read.text(members, "tray"),
        tray_position=read.whole(members, "tray_position", 1),
        values=found.values,
        originals=found.originals,
        setpoints=told.values,
        setpoint_originals=told.originals,
        units=found.units | told.units if told.units else found.units,
        not_written=tuple(found.not_written),
        time_reconstructed=False,
        source=frame.source,
        mold=read.text(members, "mold"),
    )


def run(members: Members, frame: Frame) -> RunMessage:
    """Read the opening or closing of a run."""
    return RunMessage(
        site=frame.site,
        press=frame.press,
        at=frame.moment(members, "at"),
        run=read.required_text(members, "run"),
        mold=read.text(members, "mold"),
        blend=read.text(members, "blend"),
        lot=read.text(members, "lot"),
        color=read.text(members, "color"),
        recipe=read.text(members, "recipe"),
        recipe_version=read.whole(members, "recipe_version", 1),
        action=cast(RunAction, read.choice(members, "action", RUN_ACTIONS)),
        received_at=frame.received_at,
        source=frame.source,
        trial=read.flag(members, "trial"),
    )


def tray(members: Members, frame: Frame) -> TrayMessage:
    """Read which tray the discs go to from now on."""
    return TrayMessage(
        site=frame.site,
        press=frame.press,
        at=frame.moment(members, "at"),
        tray=read.required_text(members, "tray"),
        position=read.whole(members, "position", 1),
        received_at=frame.received_at,
        source=frame.source,
    )


def setpoints(members: Members, frame: Frame) -> SetpointsMessage:
    """Read the setpoints that hold from now on."""
    block = read.required(members.get("setpoints"), "setpoints", "an object of numbers by key")
    told = Readings()
    read_block(block, read_units(members), "setpoints", "setpoint", told)
    return SetpointsMessage(
        site=frame.site,
        press=frame.press,
        at=frame.moment(members, "at"),
        setpoints=told.values,
        originals=told.originals,
        units=told.units,
        received_at=frame.received_at,
        source=frame.source,
    )


def state(members: Members, frame: Frame) -> StateMessage:
    """Read the state of a press; without a time it holds from now, as in a last will written long ago."""
    return StateMessage(
        site=frame.site,
        press=frame.press,
        at=frame.optional_moment(members, "at") or frame.now,
        state=cast(PressState, read.choice(members, "state", PRESS_STATES)),
        reason=read.text(members, "reason"),
        received_at=frame.received_at,
        source=frame.source,
    )


def gauging(members: Members, frame: Frame) -> GaugingMessage:
    """Read one measurement of one disc; it must say which disc."""
    characteristic = read.required_text(members, "characteristic")
    unit_name = read.text(members, "unit")
    reading = how_to_read(characteristic, unit_name, "disc")
    if isinstance(reading, Problem):
        raise Unreadable(reading.reason, f"/characteristic: {reading.detail}", reading.remedy)
    number = as_number(read.required(members.get("value"), "value", "a number without quotes"), "value")
    temperature = members.get("temperature_degc")
    _refuse_nameless(members, frame.press)
    return GaugingMessage(
        site=frame.site,
        press=frame.press or None,
        gauged_at=frame.optional_moment(members, "gauged_at"),
        characteristic=characteristic,
        value=converted(number, reading, "value"),
        unit=reading.own_unit or canonical_unit(characteristic) or "",
        original=None if reading.sent_unit is None else (number, reading.sent_unit),
        counter=read.whole(members, "counter", 0),
        tray=read.text(members, "tray"),
        position=read.whole(members, "position", 1),
        disc_mark=read.text(members, "disc_mark"),
        run=read.text(members, "run"),
        order_index=read.whole(members, "order_index", 0),
        order_batch=read.text(members, "order_batch"),
        gauge=read.text(members, "gauge"),
        temperature_degc=None if temperature is None else as_number(temperature, "temperature_degc"),
        definition=read.text(members, "definition"),
        who=read.text(members, "who"),
        received_at=frame.received_at,
        source=frame.source,
    )


def _refuse_nameless(members: Members, press: str) -> None:
    named = (
        (bool(press) and members.get("counter") is not None)
        or (members.get("tray") is not None and members.get("position") is not None)
        or members.get("disc_mark") is not None
        or (members.get("order_batch") is not None and members.get("order_index") is not None)
    )
    if not named:
        raise Unreadable(
            "missing_field",
            f"the gauging of {shown(members.get('characteristic'))} names no disc",
            "send press and counter, tray and position, disc_mark, or order_batch and order_index",
        )


BODIES: dict[Kind, Callable[[Members, Frame], Message]] = {
    "shot": shot,
    "run": run,
    "tray": tray,
    "setpoints": setpoints,
    "state": state,
    "gauging": gauging,
}
