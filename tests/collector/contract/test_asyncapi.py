"""The AsyncAPI document against the schema that the AsyncAPI initiative publishes for version 3.0.0.

`asyncapi/3.0.0.json.gz` is `schemas/3.0.0-without-$id.json` of its npm package @asyncapi/specs 6.11.1,
unchanged but compressed; its license (Apache 2.0) and notice are beside it. It is JSON Schema, draft 7.
"""

from __future__ import annotations

import copy
import gzip
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from collector.contract.schema import asyncapi

SCHEMA = json.loads(gzip.decompress((Path(__file__).parent / "asyncapi" / "3.0.0.json.gz").read_bytes()))
DOCUMENT = json.loads(json.dumps(asyncapi()))
VALIDATOR = jsonschema.Draft7Validator(SCHEMA)


def test_the_document_is_valid() -> None:
    VALIDATOR.check_schema(SCHEMA)

    assert [error.message for error in VALIDATOR.iter_errors(DOCUMENT)] == []


def spoil(change: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    spoiled = copy.deepcopy(DOCUMENT)
    change(spoiled)
    return spoiled


@pytest.mark.parametrize(
    "change",
    [
        lambda document: document.pop("info"),
        lambda document: document.update(asyncapi="2.6.0"),
        lambda document: document["operations"]["receive_shot"].update(action="publish"),
        lambda document: document["operations"]["receive_shot"].pop("channel"),
        lambda document: document["operations"]["receive_shot"]["bindings"]["mqtt"].update(qos=3),
        lambda document: document["channels"]["shot"].update(topic="evenrun"),
        lambda document: document["components"]["messages"]["shot"].update(payload={"type": "no type"}),
    ],
)
def test_the_published_schema_would_find_a_mistake(change: Callable[[dict[str, Any]], Any]) -> None:
    assert not VALIDATOR.is_valid(spoil(change))


def test_every_reference_leads_somewhere() -> None:
    references = list(walk(DOCUMENT))

    assert len(references) > 10
    for reference in references:
        here: Any = DOCUMENT
        for step in reference.removeprefix("#/").split("/"):
            here = here[step]


def walk(node: Any) -> list[str]:
    """Every `$ref` at any depth."""
    if isinstance(node, list):
        return [found for each in node for found in walk(each)]
    if not isinstance(node, dict):
        return []
    own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
    return own + [found for each in node.values() for found in walk(each)]
