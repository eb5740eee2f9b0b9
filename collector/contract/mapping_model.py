"""Mappings: which parts of somebody else's JSON are which members of a message of this contract.

A mapping is data, a ``[[mapping]]`` table of the settings, so that a new gateway needs no code. CSV files
have profiles instead (`mapping`).
"""

from __future__ import annotations

import difflib
from datetime import datetime
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator, model_validator

from collector.contract.mapping_pointer import Pointer
from collector.contract.mapping_times import TimeFormat
from collector.contract.mapping_topic import Pattern, has_press
from collector.contract.quantities import Scope, find
from collector.contract.readings import Problem, how_to_read
from collector.contract.setting_types import Factor, ZoneName
from collector.contract.topics import Kind, is_press_name

Scalar = bool | int | float | str

# Members of each kind besides its press, its time and its numbers; * marks those it cannot do without.
MEMBERS: dict[Kind, tuple[str, ...]] = {
    "shot": ("counter", "run", "tray", "tray_position", "mold"),
    "run": ("run*", "action*", "mold", "blend", "lot", "color", "recipe", "recipe_version", "trial"),
    "tray": ("tray*", "position"),
    "setpoints": (),
    "state": ("state*", "reason"),
    "gauging": (
        "counter", "tray", "position", "disc_mark", "run", "order_index", "order_batch", "gauge",
        "temperature_degc", "definition", "who",
    ),
}
WHOLE_MEMBERS = frozenset({"counter", "tray_position", "position", "recipe_version", "order_index"})
NUMBER_MEMBERS = frozenset({"temperature_degc"})
# The block of numbers that a kind cannot do without.
NUMBERS: dict[Kind, str | None] = {
    "shot": "values", "gauging": "values", "setpoints": "setpoints", "run": None, "tray": None, "state": None,
}
TIME_MEMBER: dict[Kind, str] = {"shot": "ended_at", "gauging": "gauged_at"}


def needed(kind: Kind) -> tuple[str, ...]:
    """Members that a kind cannot do without."""
    return tuple(name[:-1] for name in MEMBERS[kind] if name.endswith("*"))


class Part(BaseModel):
    """A part of a mapping; an unknown name is an error, since it is most likely a typing mistake."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class FieldAt(Part):
    """A member of the message: where it stands, or what it always is."""

    pointer: Pointer | None = None
    constant: str | int | None = None
    words: dict[str, str] = Field(default_factory=dict, description="the sender's word = ours")
    not_written: tuple[Scalar, ...] = ()

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.pointer is None) == (self.constant is None):
            raise ValueError("give a pointer or a constant, one of the two")
        return self


def _from_text(value: Any) -> Any:
    return {"pointer": value} if isinstance(value, str) else value


class ValueAt(Part):
    """A quantity: where its number stands, in which unit, and what in its place means "not written".

    What stands there times `factor` plus `offset` is the number in `unit`. With `zones` the pointer leads
    to a list, whose items become ``key.1``, ``key.2``, ...; `item` is the pointer inside each item.
    """

    key: str
    pointer: Pointer
    unit: str | None = None
    unit_pointer: Pointer | None = None
    factor: Factor = 1.0
    offset: float = Field(0.0, allow_inf_nan=False)
    not_written: tuple[Scalar, ...] = ()
    decimal_mark: Literal[".", ","] | None = Field(None, description="of numbers that are sent in quotes")
    zones: bool = False
    item: Pointer = ""
    required: bool = False

    @model_validator(mode="after")
    def _zoned(self) -> Self:
        known = find(self.key)
        if self.item and not self.zones:
            raise ValueError(f"item is for lists: set zones = true for {self.key}, or leave item out")
        if self.zones and ("." in self.key or (known is not None and not known.zoned)):
            raise ValueError(f"{self.key} has no zones; take one item by its index, as in /temperatures/0")
        return self


class NamedList(Part):
    """A list of objects that carry their names, made an object: ``/readings/pmax/value`` then points in."""

    pointer: Pointer
    name: str = Field("name", description="member of each item that holds its name")


class TimeAt(Part):
    """Where the time stands. Several pointers are joined by a space, as a date and a time."""

    pointer: Annotated[
        tuple[Pointer, ...], BeforeValidator(lambda value: (value,) if isinstance(value, str) else value)
    ] = Field(min_length=1, max_length=3)
    format: TimeFormat = "iso"
    pattern: str | None = Field(None, min_length=1, max_length=100)
    zone: ZoneName | None = None

    @field_validator("pattern")
    @classmethod
    def _known_directives(cls, value: str | None) -> str | None:
        try:
            datetime.strptime("", value or "")  # noqa: DTZ007 - only whether its signs are known
        except ValueError as error:
            if "does not match" not in str(error):
                raise ValueError(f"{value!r} is no pattern of strptime ({error})") from error
        return value

    @model_validator(mode="after")
    def _fits_its_format(self) -> Self:
        if self.format == "local" and self.zone is None:
            raise ValueError("a local time needs its zone, such as zone = 'Europe/Berlin'")
        if self.pattern is not None and self.format != "local":
            raise ValueError("pattern goes with format = 'local'")
        if self.format.startswith("epoch") and (self.zone is not None or len(self.pointer) > 1):
            raise ValueError("an epoch time is one number in UTC; leave zone and further pointers out")
        return self


class JsonMapping(Part):
    """One ``[[mapping]]``: the messages of one topic pattern as messages of one kind."""

    name: str = Field(min_length=1, max_length=60)
    topic: Pattern
    kind: Kind
    when: dict[Pointer, Scalar] = Field(default_factory=dict, description="only messages with these values")
    press: str | None = Field(None, min_length=1, max_length=100)
    press_pointer: Pointer | None = None
    presses: dict[str, str] = Field(default_factory=dict, description="the sender's name of a press = ours")
    named_lists: tuple[NamedList, ...] = Field((), max_length=20)
    time: TimeAt | None = None
    fields: dict[str, Annotated[FieldAt, BeforeValidator(_from_text)]] = Field(default_factory=dict)
    values: tuple[ValueAt, ...] = Field((), max_length=500)
    setpoints: tuple[ValueAt, ...] = Field((), max_length=500)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        self._check_press()
        self._check_fields()
        self._check_numbers()
        if self.time is None and self.kind not in {"state", "gauging"}:
            raise ValueError(f"a {self.kind} needs its time; add [mapping.time] with pointer and format")
        return self

    def _check_press(self) -> None:
        sources = (self.press is not None, self.press_pointer is not None, has_press(self.topic))
        if self.press is not None and not is_press_name(self.press):
            raise ValueError(f"{self.press!r} cannot name a press; use printable signs without + # /")
        for ours in self.presses.values():
            if not is_press_name(ours):
                raise ValueError(f"{ours!r} in presses cannot name a press; use signs without + # /")
        if sum(sources) > 1:
            raise ValueError("the press is given twice; keep one of {press} in topic, press, press_pointer")
        if not any(sources) and self.kind != "gauging":
            raise ValueError("no press is named; write {press} into topic, or set press or press_pointer")

    def _check_fields(self) -> None:
        known = {name.rstrip("*") for name in MEMBERS[self.kind]}
        for name in self.fields:
            if name not in known:
                raise ValueError(unknown_name(name, sorted(known), f"fields of a {self.kind}"))
        for name in needed(self.kind):
            if name not in self.fields:
                raise ValueError(f"a {self.kind} needs fields.{name}, a pointer or a constant")

    def _check_numbers(self) -> None:
        wanted = NUMBERS[self.kind]
        if wanted is not None and not getattr(self, wanted):
            raise ValueError(f"a {self.kind} needs [[mapping.{wanted}]]")
        allowed = {wanted, "setpoints"} if self.kind == "shot" else {wanted}
        for block in ("values", "setpoints"):
            if block not in allowed and getattr(self, block):
                raise ValueError(f"a {self.kind} has no {block}; leave them out")
        if self.kind == "gauging" and (len(self.values) > 1 or self.values[0].zones):
            raise ValueError("a gauging is one value of one disc; write a mapping for each characteristic")
        check_keys(self.values, "disc" if self.kind == "gauging" else "shot")
        check_keys(self.setpoints, "setpoint")
        units = {place.key: place.unit for place in self.values}
        for place in self.setpoints:
            if units.get(place.key, place.unit) != place.unit:
                raise ValueError(
                    f"{place.key} is in two units, as value and as setpoint; bring both to one with factor"
                )


def unknown_name(name: str, known: list[str], where: str) -> str:
    """The sentence about a name that is not `known`, with the nearest one that is."""
    near = difflib.get_close_matches(name, known, n=1)
    if near:
        return f"there is no {name!r} among the {where}; did you mean {near[0]!r}?"
    return f"there is no {name!r} among the {where}; there are {', '.join(known) or 'none'}"


def check_keys(places: tuple[ValueAt, ...], scope: Scope) -> None:
    """Every key once, each with a unit that it can be read in.

    Raises
    ------
    ValueError
        For the first that does not.
    """
    keys = [place.key for place in places]
    lists = {place.key for place in places if place.zones}
    for place in places:
        twice = keys.count(place.key) > 1 or (not place.zones and place.key.partition(".")[0] in lists)
        if twice:
            raise ValueError(f"{place.key} is mapped twice")
        if place.unit is None and place.unit_pointer is not None:
            continue
        reading = how_to_read(f"{place.key}.1" if place.zones else place.key, place.unit, scope)
        if isinstance(reading, Problem):
            raise ValueError(f"{place.key}: {reading.detail}; {reading.remedy}")
