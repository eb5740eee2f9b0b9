"""Births, deaths, aliases and report by exception, with payloads made by hand (see `wire`)."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.contract.bodies import Frame
from collector.contract.policy import Policy
from collector.contract.shot import Shot
from collector.contract.unreadable import Unreadable
from collector.settings_sparkplug import SparkplugDevice
from collector.sources.sparkplug.findings import Doubt, Finding, Heard, Rebirth, ShotFound, StateFound
from collector.sources.sparkplug.payload import decode
from collector.sources.sparkplug.session import ASK_AGAIN_S, EdgeNode
from collector.sources.sparkplug.shots import shot_of
from collector.sources.sparkplug.topics import read_topic
from tests.collector.sources.sparkplug.wire import DOUBLE, INT64, STRING, T0_MS, UINT64, metric, payload

DEVICE = SparkplugDevice.model_validate(
    {
        "group": "Hall", "edge_node": "G3", "device": "Press 7", "press": "P7", "shot": "Cycle/Counter",
        "run": "Job/Name",
        "values": [
            {"metric": "Injection/Peak", "key": "peak_melt_pressure", "unit": "bar"},
            {"metric": "Cushion", "key": "cushion"},
        ],
        "setpoints": [{"metric": "Set/Cooling", "key": "cooling_time"}],
    }
)  # fmt: skip
NAMES = {"Cycle/Counter": 1, "Injection/Peak": 2, "Cushion": 3, "Set/Cooling": 4, "Job/Name": 5}
RECEIVED = datetime.fromtimestamp(T0_MS / 1000, UTC) + timedelta(minutes=5)
FRAME = Frame("lowland", "P7", RECEIVED, RECEIVED, "sparkplug", Policy())


class Node:
    """The edge node under test, and what it would send."""

    def __init__(self, device: SparkplugDevice = DEVICE) -> None:
        self.node = EdgeNode("Hall", "G3", [device], 2.0)
        self.seq = 0
        self.now_s = 0.0

    def sends(self, kind: str, *metrics: bytes, seq: int | None = None, at_ms: int = T0_MS) -> list[Finding]:
        topic = f"spBv1.0/Hall/{kind}/G3" + ("/Press 7" if kind.startswith("D") else "")
        raw = payload(metrics, seq=self._next(kind) if seq is None else seq, at_ms=at_ms)
        read = read_topic(topic)
        assert read is not None
        return self.node.take(Heard(read, decode(raw), raw, topic), now_s=self.now_s)

    def is_born(self, counter: int = 100, *, bd_seq: int = 0, aliases: bool = True) -> list[Finding]:
        self.seq = 0
        found = self.sends("NBIRTH", metric("bdSeq", bd_seq, datatype=INT64), seq=0)
        values: dict[str, tuple[Any, int]] = {
            "Cycle/Counter": (counter, UINT64), "Injection/Peak": (740.0, DOUBLE), "Cushion": (6.2, DOUBLE),
            "Set/Cooling": (36.0, DOUBLE), "Job/Name": ("R-1", STRING),
        }  # fmt: skip
        return found + self.sends(
            "DBIRTH",
            *(
                metric(name, value, datatype=kind, alias=NAMES[name] if aliases else None)
                for name, (value, kind) in values.items()
            ),
        )

    def dies(self, *, bd_seq: int = 0) -> list[Finding]:
        raw = payload([metric("bdSeq", bd_seq, datatype=INT64)], at_ms=None)
        topic = read_topic("spBv1.0/Hall/NDEATH/G3")
        assert topic is not None
        return self.node.take(Heard(topic, decode(raw), raw, "spBv1.0/Hall/NDEATH/G3"), now_s=self.now_s)

    def _next(self, kind: str) -> int | None:
        self.seq = (self.seq + 1) % 256
        return self.seq


def by_alias(name: str, value: object, *, after_s: float = 60.0, **more: Any) -> bytes:
    return metric(None, value, alias=NAMES[name], at_ms=T0_MS + int(1000 * after_s), **more)


def shots(found: list[Finding]) -> list[Shot]:
    made = [shot_of(each, FRAME) for each in found if isinstance(each, ShotFound)]
    assert all(isinstance(each, Shot) for each in made)
    return made  # type: ignore[return-value]


def only(found: list[Finding]) -> Shot:
    (shot,) = shots(found)
    return shot


def test_births_tell_how_things_stand_and_end_no_shot() -> None:
    found = Node().is_born()

    assert shots(found) == []
    states = [(each.online, each.device.press) for each in found if isinstance(each, StateFound)]
    assert states == [(True, "P7")]


def test_what_is_not_sent_is_unchanged_not_missing() -> None:
    node = Node()
    node.is_born()
    first = only(node.sends("DDATA", by_alias("Cycle/Counter", 101), by_alias("Injection/Peak", 744.0)))
    second = only(node.sends("DDATA", by_alias("Cycle/Counter", 102, after_s=120.0)))

    assert (first.counter, second.counter) == (101, 102)
    # 744 bar and 740 bar in MPa; the cushion was told in the birth alone.
    assert first.values == {"peak_melt_pressure": pytest.approx(74.4), "cushion": 6.2}
    assert second.values == first.values
    assert second.setpoints == {"cooling_time": 36.0}
    assert second.run == "R-1"
    assert second.ended_at == datetime.fromtimestamp(T0_MS / 1000 + 120, UTC)


def test_values_that_come_before_their_counter_belong_to_its_shot() -> None:
    node = Node()
    node.is_born()
    assert node.sends("DDATA", by_alias("Cushion", 6.5)) == []

    assert only(node.sends("DDATA", by_alias("Cycle/Counter", 101))).values["cushion"] == 6.5


def test_a_counter_that_is_sent_again_unchanged_ends_no_shot() -> None:
    node = Node()
    node.is_born()
    node.sends("DDATA", by_alias("Cycle/Counter", 101))

    again = node.sends("DDATA", by_alias("Cycle/Counter", 101, after_s=75.0), by_alias("Cushion", 6.4))

    assert shots(again) == []


def test_two_shots_in_one_message_are_told_apart_by_their_times() -> None:
    node = Node()
    node.is_born()
    found = node.sends(
        "DDATA",
        by_alias("Cycle/Counter", 101, after_s=60.0), by_alias("Cycle/Counter", 102, after_s=120.0),
        by_alias("Cushion", 6.1, after_s=59.0), by_alias("Cushion", 6.9, after_s=119.0),
    )  # fmt: skip

    assert [(each.counter, each.values["cushion"]) for each in shots(found)] == [(101, 6.1), (102, 6.9)]


def test_a_node_without_aliases_sends_names() -> None:
    node = Node()
    node.is_born(aliases=False)

    shot = only(node.sends("DDATA", metric("Cycle/Counter", 101), metric("Cushion", 5.9)))

    assert (shot.counter, shot.values["cushion"]) == (101, 5.9)


def test_null_bad_and_sentinel_values_are_not_written() -> None:
    device = DEVICE.model_copy(
        update={
            "values": (
                *DEVICE.values[:1],
                DEVICE.values[1].model_copy(update={"not_written": (0,)}),
            )
        }
    )
    node = Node(device)
    node.is_born()

    shot = only(
        node.sends(
            "DDATA", by_alias("Cycle/Counter", 101), by_alias("Cushion", 0.0),
            by_alias("Injection/Peak", 744.0, quality=0),
        )
    )  # fmt: skip

    assert shot.values == {}
    assert set(shot.not_written) == {"cushion", "peak_melt_pressure"}


def test_after_a_gap_only_what_is_sent_again_counts_and_births_are_asked_for() -> None:
    node = Node()
    node.is_born()
    node.seq += 1  # a message is lost: it may have changed any value
    assert node.sends("DDATA", by_alias("Cycle/Counter", 102), by_alias("Cushion", 6.4)) == []
    node.now_s = 2.5

    found = node.node.look(now_s=node.now_s)

    assert [type(each) for each in found] == [Rebirth, ShotFound]
    shot = only(found)
    assert shot.values == {"cushion": 6.4}
    assert "peak_melt_pressure" in shot.not_written
    node.is_born(102)
    assert set(only(node.sends("DDATA", by_alias("Cycle/Counter", 103))).values) == {
        "cushion", "peak_melt_pressure",
    }  # fmt: skip


def test_a_message_that_is_only_late_costs_nothing() -> None:
    node = Node()
    node.is_born()
    late = (by_alias("Cushion", 6.4),)
    assert node.sends("DDATA", by_alias("Cycle/Counter", 101), seq=3) == []

    shot = only(node.sends("DDATA", *late, seq=2))

    assert shot.values == {"cushion": 6.4, "peak_melt_pressure": pytest.approx(74.0)}
    assert node.node.look(now_s=100.0) == []


def test_a_death_makes_all_stale_until_the_next_birth() -> None:
    node = Node()
    node.is_born()

    (state,) = node.dies()

    assert isinstance(state, StateFound)
    assert not state.online
    node.is_born(150, bd_seq=1)
    assert only(node.sends("DDATA", by_alias("Cycle/Counter", 151))).counter == 151


def test_the_will_of_an_earlier_connection_that_comes_late_changes_nothing() -> None:
    node = Node()
    node.is_born(bd_seq=7)
    node.is_born(bd_seq=8)

    assert node.dies(bd_seq=7) == []
    assert only(node.sends("DDATA", by_alias("Cycle/Counter", 101))).values["cushion"] == 6.2


def test_the_death_of_a_device_takes_its_values_alone() -> None:
    node = Node()
    node.is_born()

    (state,) = node.sends("DDEATH")
    found = node.sends("DDATA", by_alias("Cycle/Counter", 101))

    assert isinstance(state, StateFound)
    assert not state.online
    assert any(isinstance(each, Rebirth) for each in found)
    assert only(found).values == {}


def test_data_before_any_birth_is_kept_and_a_birth_asked_for_once() -> None:
    node = Node()
    node.sends("DDATA", by_alias("Cycle/Counter", 101), seq=9)
    found = node.node.look(now_s=3.0)

    assert [type(each) for each in found] == [Rebirth, Doubt]
    assert isinstance(found[1], Doubt)
    assert found[1].why.reason == "no_birth"
    node.sends("DDATA", by_alias("Cycle/Counter", 102), seq=10)
    assert not any(isinstance(each, Rebirth) for each in node.node.look(now_s=6.0))
    node.now_s = 4.0 + ASK_AGAIN_S
    node.sends("DDATA", by_alias("Cycle/Counter", 103), seq=11)
    assert any(isinstance(each, Rebirth) for each in node.node.look(now_s=node.now_s + 3.0))


def test_historical_values_are_shots_of_their_own_time_and_change_nothing_live() -> None:
    node = Node()
    node.is_born(200)
    found = node.sends(
        "DDATA",
        by_alias("Cycle/Counter", 150, after_s=-3000.0, historical=True),
        by_alias("Cushion", 5.1, after_s=-3000.0, historical=True),
        by_alias("Cycle/Counter", 151, after_s=-2940.0, historical=True),
    )

    past = shots(found)
    live = only(node.sends("DDATA", by_alias("Cycle/Counter", 201)))

    assert [(each.counter, dict(each.values)) for each in past] == [(150, {"cushion": 5.1}), (151, {})]
    assert live.values["cushion"] == 6.2


def test_our_own_lost_connection_makes_all_stale() -> None:
    node = Node()
    node.is_born()
    node.node.lose()

    found = node.node.ask_for_births(now_s=1.0)

    assert [type(each) for each in found] == [Rebirth]
    node.sends("DDATA", metric("Cycle/Counter", 140), seq=77)
    assert only(node.node.look(now_s=10.0)).values == {}


def test_a_value_that_is_no_number_is_refused_by_its_name() -> None:
    node = Node()
    node.is_born()
    (found,) = node.sends("DDATA", by_alias("Cycle/Counter", 101), by_alias("Cushion", "full"))

    assert isinstance(found, ShotFound)
    with pytest.raises(Unreadable, match="'Cushion' is 'full', no number"):
        shot_of(found, FRAME)


def test_metrics_of_the_edge_node_itself_can_be_a_press() -> None:
    node = Node(DEVICE.model_copy(update={"device": None}))
    node.sends("NBIRTH", metric("bdSeq", 0), metric("Cycle/Counter", 9), metric("Cushion", 6.0), seq=0)

    assert only(node.sends("NDATA", metric("Cycle/Counter", 10))).values["cushion"] == 6.0


@pytest.mark.parametrize("aliased", [True, False])
def test_sequence_numbers_of_other_devices_count_too(*, aliased: bool) -> None:
    node = Node()
    node.is_born(aliases=aliased)
    other = read_topic("spBv1.0/Hall/DDATA/G3/Press 8")
    assert other is not None
    raw = payload([metric("x", 1.0)], seq=node._next("DDATA"))
    assert node.node.take(Heard(other, decode(raw), raw, "-"), now_s=0.0) == []

    assert only(node.sends("DDATA", metric("Cycle/Counter", 101))).counter == 101


ANY_VALUE = st.none() | st.booleans() | st.integers(0, 2**64 - 1) | st.floats(width=32) | st.text(max_size=5)
ANY_METRIC = st.builds(
    metric,
    st.none() | st.sampled_from([*NAMES, "bdSeq", "other", ""]),
    ANY_VALUE,
    alias=st.none() | st.integers(0, 7),
    at_ms=st.none() | st.integers(0, 2**64 - 1) | st.just(T0_MS),
    datatype=st.none() | st.integers(0, 40),
    historical=st.booleans(),
    null=st.booleans(),
    quality=st.none() | st.sampled_from([0, 192, 500]),
)
ANY_MESSAGE = st.tuples(
    st.sampled_from(["NBIRTH", "DBIRTH", "NDATA", "DDATA", "DDATA", "DDATA", "DDEATH", "NDEATH"]),
    st.integers(0, 6) | st.integers(0, 255),
    st.lists(ANY_METRIC, max_size=4),
)


@given(st.lists(ANY_MESSAGE, max_size=25))
@settings(max_examples=150, deadline=None)
def test_whatever_is_sent_nothing_but_a_refusal_comes_of_it(
    sent: list[tuple[str, int, list[bytes]]],
) -> None:
    node = Node()
    for number, (kind, seq, metrics) in enumerate(sent):
        node.now_s = float(number)
        for found in [*node.sends(kind, *metrics, seq=seq), *node.node.look(now_s=node.now_s)]:
            with suppress(Unreadable):
                if isinstance(found, ShotFound):
                    shot_of(found, FRAME)
