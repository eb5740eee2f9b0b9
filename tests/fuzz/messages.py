"""Topics and payloads: good ones that were mangled, made-up members, and any bytes at all."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from hypothesis import strategies as st

from collector.contract.mapping_read import Mappings
from collector.contract.models import EXAMPLES, INCOMING
from collector.contract.policy import Policy
from collector.settings_mapping import read_mapping_text
from tests.collector.contract.foreign import NESTED, NESTED_MAPPING, NESTED_TOPIC
from tests.fuzz.mangling import NASTY_KEYS, NASTY_VALUES, mangled, mangled_json

Case = tuple[str, bytes]

POLICY = Policy(
    max_age=timedelta(days=4000),
    mappings=Mappings(read_mapping_text(NESTED_MAPPING, "the fuzzer's settings"), "lowland"),
)


def topic_of(kind: str) -> str:
    """Where a kind of message is published."""
    return "evenrun/1/lowland/gauging" if kind == "gauging" else f"evenrun/1/lowland/P1/{kind}"


SOURCES: tuple[tuple[str, dict[str, Any]], ...] = (
    *((topic_of(kind), EXAMPLES[kind]) for kind in INCOMING),
    *[(topic_of("shot"), EXAMPLES["shot"])] * 6,
    (NESTED_TOPIC, NESTED),
    (NESTED_TOPIC, NESTED),
)
SEEDS = st.integers(0, 2**48)

_values = st.one_of(
    st.sampled_from(NASTY_VALUES), st.floats(allow_nan=False), st.integers(), st.text(max_size=12),
    st.dictionaries(st.text(max_size=6), st.floats(allow_nan=False), max_size=3),
)
_topics = st.one_of(
    st.sampled_from([topic for topic, _ in SOURCES]),
    st.sampled_from(
        ["", "/", "#", "evenrun", "evenrun/1", "evenrun/2/lowland/P1/shot", "plant/lowland/machine-9/cycle"]
    ),
    st.text(max_size=30),
)


def _members(topic: str) -> st.SearchStrategy[bytes]:
    kind = topic.rpartition("/")[2]
    names = sorted(INCOMING[kind].model_fields) if kind in INCOMING else sorted(NESTED)
    keys = st.one_of(st.sampled_from(names), st.sampled_from(NASTY_KEYS))
    made = st.dictionaries(keys, _values, max_size=8)
    return made.map(lambda members: json.dumps(members).encode())


_sources = st.sampled_from(SOURCES)
_spoiled = st.builds(lambda source, seed: (source[0], mangled_json(source[1], seed)), _sources, SEEDS)

cases: st.SearchStrategy[Case] = st.one_of(
    _spoiled,
    _spoiled,
    st.builds(
        lambda source, seed: (source[0], mangled(json.dumps(source[1]).encode(), seed)), _sources, SEEDS
    ),
    _sources.flatmap(lambda source: st.tuples(st.just(source[0]), _members(source[0]))),
    st.tuples(_topics, st.binary(max_size=120)),
)
