"""What messages would become, without a store; recorded messages and back."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.cli.heard_report import report
from collector.contract.models import EXAMPLES
from collector.errors import UserError
from collector.listening import MOST_TOPICS, Trial
from collector.sources.recorded import Heard, line_of, read_recorded
from tests.collector.contract.foreign import (
    FLAT,
    FLAT_TOPIC,
    NESTED,
    NESTED_MAPPING,
    NESTED_TOPIC,
    NOW,
    policy,
)
from tests.collector.sources.sparkplug.wire import DOUBLE, INT32, STRING, UINT64, metric, payload

WALL = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
SHOT_TOPIC = "evenrun/1/lowland/P1/shot"


def heard(topic: str, document: Any, *, seconds: float = 0.0, retained: bool = False) -> Heard:
    payload = document if isinstance(document, bytes) else json.dumps(document).encode()
    return Heard(topic, payload, NOW + timedelta(seconds=seconds), retained)


def trial(*messages: Heard) -> Trial:
    made = Trial(policy(NESTED_MAPPING), "lowland")
    for message in messages:
        made.add(message)
    return made


def test_every_topic_says_what_its_messages_become() -> None:
    found = trial(
        heard(SHOT_TOPIC, EXAMPLES["shot"]),
        heard(SHOT_TOPIC.replace("lowland", "elsewhere"), EXAMPLES["shot"]),
        heard(NESTED_TOPIC, NESTED),
        heard(NESTED_TOPIC, {"header": {"type": "cycle"}}),
        heard(FLAT_TOPIC, FLAT),
        heard("evenrun/1/lowland/P1/alarm", {}),
        heard("camera", b"\xff\xd8"),
    )

    assert dict(found.topics[SHOT_TOPIC].becomes) == {("shot", "P1"): 1}
    (other,) = found.topics[SHOT_TOPIC.replace("lowland", "elsewhere")].becomes
    assert "which this collector does not take" in other[1]
    assert dict(found.topics[NESTED_TOPIC].becomes) == {("shot", "P1"): 1}
    assert found.topics[NESTED_TOPIC].sentences[0].startswith("mapping 'hall': /header/ts (the time)")
    assert found.topics["evenrun/1/lowland/P1/alarm"].ours
    assert "not UTF-8" in str(found.topics["camera"].not_json)
    assert found.counts() == (3, 1, 2)


def test_rate_size_and_first_fields() -> None:
    found = trial(*(heard(FLAT_TOPIC, FLAT, seconds=30 * n, retained=n == 0) for n in range(5)))
    known = found.topics[FLAT_TOPIC]

    assert known.per_minute() == pytest.approx(2.0)
    assert trial(heard(FLAT_TOPIC, FLAT, retained=True)).topics[FLAT_TOPIC].per_minute() is None
    assert (known.count, known.retained, known.size) == (5, 1, 5 * len(json.dumps(FLAT)))
    assert known.fields[0] == ("/imm_date", "'24.11.2026'")


def test_an_empty_message_is_shown_as_what_it_is() -> None:
    assert any("the whole {}" in line for line in report(trial(heard("evenrun/1/lowland/P1/alarm", {}))))


def test_a_retained_message_says_nothing_of_the_pace() -> None:
    found = trial(
        heard(FLAT_TOPIC, FLAT, retained=True), *(heard(FLAT_TOPIC, FLAT, seconds=600 + n) for n in range(3))
    )

    assert found.topics[FLAT_TOPIC].per_minute() == pytest.approx(60.0)


def test_rates_are_told_in_real_time_on_a_floor_whose_clock_runs_fast(tmp_path: Path) -> None:
    """At 60 times the pace messages that come 30 floor seconds apart are 120 a real minute."""
    messages = [
        replace(heard(FLAT_TOPIC, FLAT, seconds=30 * n), wall_at=WALL + timedelta(seconds=0.5 * n))
        for n in range(4)
    ]
    path = tmp_path / "heard.jsonl"
    path.write_text("".join(map(line_of, messages)), encoding="utf-8")

    for several in (messages, list(read_recorded(path))):
        assert any("4 messages, 120 a minute" in line for line in report(trial(*several)))


def test_messages_that_came_at_once_have_no_pace_and_a_fast_one_is_written_out() -> None:
    at_once = (heard(FLAT_TOPIC, FLAT, seconds=n / 800) for n in range(3))
    assert not any(" a minute" in line for line in report(trial(*at_once)))
    dense = (heard(FLAT_TOPIC, FLAT, seconds=n / 800) for n in range(1601))
    assert any("1601 messages, 48,000 a minute" in line for line in report(trial(*dense)))


def test_pointers_that_lead_nowhere_in_any_message_are_told() -> None:
    found = trial(heard(NESTED_TOPIC, NESTED), heard(NESTED_TOPIC, NESTED))

    assert found.mappings["hall"].never_found() == ["/header/box"]
    assert (found.mappings["hall"].taken, found.mappings["hall"].refused) == (2, 0)


def test_proposals_are_for_what_no_mapping_takes() -> None:
    found = trial(heard(NESTED_TOPIC, NESTED), heard(FLAT_TOPIC, FLAT), heard(SHOT_TOPIC, EXAMPLES["shot"]))

    assert [each.topics for each in found.proposals()] == [(FLAT_TOPIC,)]


def test_the_report_has_the_first_shot_in_words_and_nothing_that_a_terminal_obeys() -> None:
    found = trial(
        heard(NESTED_TOPIC, NESTED), heard("evil/\u009b2J\r\n", {"\u001b[31m": "\u202e", "cushion\n[x]": 5.0})
    )
    lines = list(report(found))

    assert any("the first: counter 1023, ended at 2026-11-24T10:00:00.120Z, Injection time 2.410 s" in line
               for line in lines)
    assert all(each.isprintable() for line in lines for each in line.split("\n"))


def test_a_flood_of_topics_is_counted_and_not_kept() -> None:
    found = trial(*(heard(f"flood/{number}", b"x") for number in range(MOST_TOPICS + 7)))

    assert (len(found.topics), found.left_out) == (MOST_TOPICS, 7)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from([SHOT_TOPIC, NESTED_TOPIC, "x", "evenrun/1"]), st.binary(max_size=200))
def test_any_bytes_are_tried_without_a_crash(topic: str, payload: bytes) -> None:
    found = trial(Heard(topic, payload, NOW))

    assert found.topics[topic].count == 1
    assert found.proposals() is not None


def test_a_record_is_read_as_it_was_written(tmp_path: Path) -> None:
    messages = [
        Heard("a/\u00fc\n", b"\x00\xff\n", NOW, retained=True), Heard("b", b"", NOW),
        Heard("c", b"c", NOW, wall_at=WALL),
    ]
    path = tmp_path / "heard.jsonl"
    path.write_text("".join(map(line_of, messages)) + "\n", encoding="utf-8")

    assert list(read_recorded(path)) == messages


@pytest.mark.parametrize(
    "line",
    ["{", "[]", "7", "{}", '{"topic": 1, "payload": "", "time": "2026-11-24T10:00:00Z"}',
     '{"topic": "a", "payload": "!", "time": "2026-11-24T10:00:00Z"}',
     '{"topic": "a", "payload": "", "time": "2026-11-24T10:00:00Z", "wall_time": "soon"}',
     '{"topic": "a", "payload": "", "time": "soon"}', '{"topic": "a", "payload": 3, "time": "soon"}'],
)
def test_a_line_that_is_no_message_is_named(tmp_path: Path, line: str) -> None:
    path = tmp_path / "heard.jsonl"
    path.write_text(line_of(Heard("a", b"", NOW)) + line + "\n", encoding="utf-8")

    with pytest.raises(UserError, match=r"line 2 of .*heard\.jsonl is no recorded message"):
        list(read_recorded(path))


def test_a_record_that_is_not_there_or_no_text_says_so(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be read"):
        list(read_recorded(tmp_path / "gone"))
    (tmp_path / "binary").write_bytes(b"\xff\xfe")
    with pytest.raises(UserError, match="no text in UTF-8"):
        list(read_recorded(tmp_path / "binary"))


def test_the_metrics_of_an_edge_node_are_listed_by_their_names() -> None:
    birth = payload(
        [
            metric("Cycle/Counter", 100, datatype=UINT64), metric("Cushion", 6.25, datatype=DOUBLE),
            metric("Offset", 0xFFFFFFFB, datatype=INT32),
            metric("Job/Name", None, datatype=STRING, null=True),
        ],
        seq=1,
    )  # fmt: skip
    found = trial(
        heard("spBv1.0/Hall/DBIRTH/G3/Press 7", birth),
        heard("spBv1.0/Hall/DDATA/G3/Press 7", payload([metric(None, 101, alias=7)], seq=2)),
        heard("spBv1.0/Hall/NDATA/G4", b"{}"),
    )

    lines = "\n".join(report(found))

    assert "    Cycle/Counter = UInt64 100\n    Cushion = Double 6.25\n    Offset = Int32 -5\n" in lines
    assert "    Job/Name = String no value\n" in lines
    assert "    alias 7 = 101\n" in lines
    assert "no Sparkplug B protobuf" in lines
    assert found.counts()[2] == 1  # only what could not be read belongs to nothing
