"""JSON Schema of every message kind and one AsyncAPI document, generated from the models.

References
----------
JSON Schema draft 2020-12. AsyncAPI Specification 3.0.0.
"""

from __future__ import annotations

from importlib.metadata import version
from typing import Any

from collector.contract import topics
from collector.contract.models import EXAMPLES, INCOMING, OUTGOING

_RETAINED = frozenset({"tray", "setpoints", "state", "alarm", "collector_state", "journal_head"})


def json_schemas() -> dict[str, dict[str, Any]]:
    """JSON Schema by message kind, incoming kinds and outgoing ones."""
    return {kind: model.model_json_schema() for kind, model in {**INCOMING, **OUTGOING}.items()}


def asyncapi() -> dict[str, Any]:
    """The AsyncAPI 3 document of the contract, from the collector's side: it receives and it sends."""
    kinds = [*INCOMING, *OUTGOING]
    return {
        "asyncapi": "3.0.0",
        "info": {"title": "evenrun messages", "version": version("evenrun")},
        "defaultContentType": "application/json",
        "channels": {kind: _channel(kind) for kind in kinds},
        "operations": {
            f"{_action(kind)}_{kind}": {
                "action": _action(kind),
                "channel": {"$ref": f"#/channels/{kind}"},
                "bindings": {"mqtt": {"qos": 1, "retain": kind in _RETAINED, "bindingVersion": "0.2.0"}},
            }
            for kind in kinds
        },
        "components": {"messages": {kind: _message(kind) for kind in kinds}},
    }


def _action(kind: str) -> str:
    return "receive" if kind in INCOMING else "send"


def _channel(kind: str) -> dict[str, Any]:
    address = _address(kind)
    names = [name for name in ("site", "press") if f"{{{name}}}" in address]
    return {
        "address": address,
        "messages": {kind: {"$ref": f"#/components/messages/{kind}"}},
        "parameters": {name: {"description": f"name of the {name}"} for name in names},
    }


def _address(kind: str) -> str:
    site, press = "{site}", "{press}"
    addresses: dict[str, str] = {
        "gauging": topics.gauging_topic(site),
        "alarm": topics.alarm_topic(site, press),
        "collector_state": topics.collector_state_topic(site),
        "journal_head": topics.journal_topic(site),
        **{known: topics.press_topic(site, press, known) for known in topics.PRESS_KINDS},
    }
    return addresses[kind]


def _message(kind: str) -> dict[str, Any]:
    model = {**INCOMING, **OUTGOING}[kind]
    return {
        "name": kind,
        "summary": (model.__doc__ or "").strip(),
        "contentType": "application/json",
        "payload": model.model_json_schema(ref_template="#/components/messages/{model}"),
        "examples": [{"name": kind, "payload": EXAMPLES[kind]}],
    }
