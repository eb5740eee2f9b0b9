"""The message kinds as models: what the JSON Schema and the AsyncAPI document are generated from.

Incoming messages are read by `parse`, which is several times faster; the tests hold the two against
each other.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from collector.contract.members import MAX_COUNT, MAX_TEXT
from collector.contract.messages import PressState, RunAction
from collector.contract.outgoing import AlarmState

Text = Annotated[str, StringConstraints(min_length=1, max_length=MAX_TEXT)]
Key = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,62}(\.[1-9][0-9]?)?$")]
Number = Annotated[float, Field(allow_inf_nan=False)]
Count = Annotated[int, Field(ge=0, le=MAX_COUNT)]
Place = Annotated[int, Field(ge=1, le=MAX_COUNT)]
# RFC 3339 section 5.6, with the zone that makes the time aware.
_TIME = r"^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})$"
Time = Annotated[str, StringConstraints(pattern=_TIME), Field(json_schema_extra={"format": "date-time"})]

Numbers = Annotated[
    dict[Key, Number | None],
    Field(description="numbers by key, in the canonical unit or the one in `units`; null: not written"),
]
Units = Annotated[
    dict[str, str],
    Field(description="unit by key; `barrel_temperature` holds for all its zones; UNECE Rec. 20 codes work"),
]


class Message(BaseModel):
    """Members that are not named here are passed over (RFC 7493 section 4.2)."""

    model_config = ConfigDict(strict=True, extra="ignore")


class ShotModel(Message):
    """One press cycle."""

    press: Text | None = Field(None, description="the same name as in the topic, if given")
    counter: Count | None = Field(None, description="the press's own cycle counter")
    ended_at: Time = Field(description="end of the cycle")
    run: Text | None = None
    tray: Text | None = None
    tray_position: Place | None = None
    mold: Text | None = Field(None, description="where the press knows it; another one opens another run")
    values: Numbers
    units: Units | None = None
    setpoints: Numbers | None = None


class RunModel(Message):
    """A run opens or closes."""

    press: Text | None = None
    at: Time
    run: Text
    mold: Text | None = None
    blend: Text | None = None
    lot: Text | None = None
    color: Text | None = None
    recipe: Text | None = None
    recipe_version: Place | None = None
    action: RunAction
    trial: bool | None = Field(None, description="made to learn what settings do: shown, never charted")


class TrayModel(Message):
    """Which tray takes the discs from now on. Retained."""

    press: Text | None = None
    at: Time
    tray: Text
    position: Place | None = Field(None, description="place of the next disc")


class SetpointsModel(Message):
    """Setpoints in force from now on. Retained."""

    press: Text | None = None
    at: Time
    setpoints: Numbers
    units: Units | None = None


class StateModel(Message):
    """What the press or its gateway does. Retained, and the gateway's last will."""

    press: Text | None = None
    at: Time | None = Field(None, description="left out in a last will, which is written long before")
    state: PressState
    reason: Text | None = None


class GaugingModel(Message):
    """One measurement of one disc, named by press and counter, tray and position, mark, or order."""

    press: Text | None = None
    gauged_at: Time | None = Field(None, description="left out when the age is not known")
    characteristic: Key
    value: Number
    unit: Text | None = None
    counter: Count | None = None
    tray: Text | None = None
    position: Place | None = None
    disc_mark: Text | None = None
    run: Text | None = None
    order_index: Count | None = None
    order_batch: Text | None = None
    gauge: Text | None = None
    temperature_degc: Number | None = None
    definition: Text | None = None
    who: Text | None = None


class AlarmModel(Message):
    """Alarm state of a press, published by the collector. Retained. Information, no safety function."""

    site: Text
    press: Text
    at: Time
    active: bool
    state: AlarmState
    alarm: int | None
    sentence: str
    characteristics: list[str]
    since_counter: int | None
    hold: list[str]


class CollectorStateModel(Message):
    """State of the collector, published by it. Retained, and its last will."""

    site: Text
    at: Time
    state: Annotated[str, StringConstraints(pattern="^(online|offline)$")]
    reason: str | None


class JournalHeadModel(Message):
    """End of the journal's chain, published once a day. Retained: keep it to check the journal later."""

    site: Text
    at: Time
    entry: int
    digest: Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
    wall_at: Time


INCOMING: dict[str, type[Message]] = {
    "shot": ShotModel,
    "run": RunModel,
    "tray": TrayModel,
    "setpoints": SetpointsModel,
    "state": StateModel,
    "gauging": GaugingModel,
}
OUTGOING: dict[str, type[Message]] = {
    "alarm": AlarmModel,
    "collector_state": CollectorStateModel,
    "journal_head": JournalHeadModel,
}

EXAMPLES: dict[str, dict[str, Any]] = {
    "shot": {
        "press": "P1",
        "counter": 1023,
        "ended_at": "2026-11-24T10:00:00.120Z",
        "run": "R-0412",
        "tray": "41",
        "values": {
            "injection_time": 2.41,
            "peak_melt_pressure": 742,
            "cycle_time": 58.3,
            "barrel_temperature.1": 391.0,
            "cushion": None,
        },
        "units": {"peak_melt_pressure": "bar", "barrel_temperature": "degF"},
        "setpoints": {"injection_pressure_limit": 86.0, "cooling_time": 36},
    },
    "run": {
        "press": "P1",
        "at": "2026-11-24T06:00:00Z",
        "run": "R-0412",
        "mold": "Larch 5",
        "blend": "B",
        "lot": "4471",
        "color": "orange",
        "recipe": "larch-5-b",
        "recipe_version": 3,
        "action": "open",
    },
    "tray": {"press": "P1", "at": "2026-11-24T10:00:00Z", "tray": "42", "position": 1},
    "setpoints": {
        "press": "P1",
        "at": "2026-11-24T09:12:00Z",
        "setpoints": {"hold_pressure": 410, "cooling_time": 38},
        "units": {"hold_pressure": "bar"},
    },
    "state": {"press": "P1", "at": "2026-11-24T10:05:00Z", "state": "stopped", "reason": "mold change"},
    "gauging": {
        "press": "P1",
        "counter": 1023,
        "gauged_at": "2026-11-25T10:10:00Z",
        "characteristic": "dome",
        "value": 0.112,
        "unit": "in",
        "gauge": "height gauge 1",
        "temperature_degc": 22.6,
        "who": "operator 1",
    },
    "alarm": {
        "site": "lowland",
        "press": "P1",
        "at": "2026-11-24T10:21:00.000Z",
        "active": True,
        "state": "active_unacknowledged",
        "alarm": 17,
        "sentence": "Mold core temperature rises since shot 1011: hold trays 41 and 42, gauge their discs.",
        "characteristics": ["mold_core_temperature"],
        "since_counter": 1011,
        "hold": ["41", "42"],
    },
    "collector_state": {
        "site": "lowland",
        "at": "2026-11-24T06:00:00.000Z",
        "state": "online",
        "reason": None,
    },
    "journal_head": {
        "site": "lowland",
        "at": "2026-11-24T06:00:00.000Z",
        "entry": 412,
        "digest": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        "wall_at": "2026-11-24T06:00:01.204Z",
    },
}
