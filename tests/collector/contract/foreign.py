"""Three shapes of foreign JSON, made by hand as gateways write it, with the mappings that read them.

All invented. `nested` is objects in objects with milliseconds; `listed` is a list of name, value and unit
in no fixed order; `flat` is one level of names with prefixes, numbers in quotes and local time.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from collector.contract.mapping_read import Mappings
from collector.contract.parse import Message, Policy, parse
from collector.contract.refusal import Refusal
from collector.settings_mapping import read_mapping_text
from collector.sources.incoming import Incoming

NOW = datetime(2026, 11, 24, 10, 1, tzinfo=UTC)

NESTED_TOPIC = "plant/lowland/machine-7/cycle"
NESTED: dict[str, Any] = {
    "header": {"type": "cycle", "ts": 1795514400120, "seq": 1023, "order": 412},
    "process": {
        "injection": {"time_ms": 2410, "pmax": 742, "vp/pos": 14.2},
        "cushion": 0,
        "barrel": {"zones": [{"act": 199.5}, {"act": 200.25}, {}, {"act": -1}]},
    },
    "set": {"vp/pos": 14.0, "cooling": 36},
}
NESTED_MAPPING = """
[[mapping]]
name = "hall"
topic = "plant/{site}/machine-{press}/cycle"
kind = "shot"
when = {"/header/type" = "cycle"}
presses = {"7" = "P1", "8" = "P2"}

[mapping.time]
pointer = "/header/ts"
format = "epoch_ms"

[mapping.fields]
counter = "/header/seq"
run = "/header/order"
tray = "/header/box"

[[mapping.values]]
key = "injection_time"
pointer = "/process/injection/time_ms"
factor = 0.001

[[mapping.values]]
key = "peak_melt_pressure"
pointer = "/process/injection/pmax"
unit = "bar"

[[mapping.values]]
key = "switchover_position"
pointer = "/process/injection/vp~1pos"

[[mapping.values]]
key = "cushion"
pointer = "/process/cushion"
not_written = [0]

[[mapping.values]]
key = "barrel_temperature"
pointer = "/process/barrel/zones"
item = "/act"
zones = true
not_written = [-1]

[[mapping.setpoints]]
key = "switchover_position"
pointer = "/set/vp~1pos"

[[mapping.setpoints]]
key = "cooling_time"
pointer = "/set/cooling"
"""

LISTED_TOPIC = "edge7/out"
LISTED: dict[str, Any] = {
    "machine": "P3",
    "end": "2026-11-24T11:00:00+01:00",
    "readings": [
        {"name": "Pmax", "value": 10762.0, "unit": "psi"},
        {"name": "t_inj", "value": 2.41, "unit": "s"},
        {"name": "shots", "value": 88},
        {"name": "torque index", "value": 3.5, "unit": "N*m"},
    ],
}
LISTED_MAPPING = """
[[mapping]]
name = "edge 7"
topic = "edge7/#"
kind = "shot"
press_pointer = "/machine"
named_lists = [{pointer = "/readings"}]

[mapping.time]
pointer = "/end"

[mapping.fields]
counter = "/readings/shots/value"

[[mapping.values]]
key = "peak_melt_pressure"
pointer = "/readings/Pmax/value"
unit_pointer = "/readings/Pmax/unit"
required = true

[[mapping.values]]
key = "injection_time"
pointer = "/readings/t_inj/value"
unit_pointer = "/readings/t_inj/unit"

[[mapping.values]]
key = "torque_index"
pointer = "/readings/torque index/value"
unit = "N*m"
"""

FLAT_TOPIC = "imm/P4"
FLAT: dict[str, Any] = {
    "imm_date": "24.11.2026",
    "imm_time": "11:00:00",
    "imm_cnt": "0000815",
    "imm_act_cyc": "58,31",
    "imm_act_cush": "---",
    "imm_act_tcore_f": 104,
}
FLAT_MAPPING = """
[[mapping]]
name = "flat"
topic = "imm/{press}"
kind = "shot"

[mapping.time]
pointer = ["/imm_date", "/imm_time"]
format = "local"
pattern = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Berlin"

[mapping.fields]
counter = "/imm_cnt"

[[mapping.values]]
key = "cycle_time"
pointer = "/imm_act_cyc"
decimal_mark = ","

[[mapping.values]]
key = "cushion"
pointer = "/imm_act_cush"
decimal_mark = ","
not_written = ["---"]

[[mapping.values]]
key = "mold_core_temperature"
pointer = "/imm_act_tcore_f"
unit = "degF"
"""


def policy(toml: str, **more: Any) -> Policy:
    return Policy(mappings=Mappings(read_mapping_text(toml, "the test"), "lowland"), **more)


def read(toml: str, topic: str, document: Any, *, now: datetime = NOW, **more: Any) -> Message | Refusal:
    """What the document becomes; `document` may be bytes already."""
    payload = document if isinstance(document, bytes) else json.dumps(document).encode()
    incoming = Incoming(topic, payload, "mqtt", "1:7")
    return parse(incoming, now=now, received_at=now, policy=policy(toml, **more))


def refused(toml: str, topic: str, document: Any, **more: Any) -> Refusal:
    found = read(toml, topic, document, **more)
    assert isinstance(found, Refusal), found
    return found
