"""From what arrives to records for the pipeline, without a broker: the host is played."""

from __future__ import annotations

import queue
import threading
import time
from datetime import UTC, datetime, timedelta

import pytest

from collector.contract.messages import StateMessage
from collector.contract.policy import Policy
from collector.contract.refusal import Refusal
from collector.contract.shot import Shot
from collector.pipeline import Read
from collector.sources.sparkplug.host import Arrived, Connected, Lost
from collector.sources.sparkplug.session import EdgeNode
from collector.sources.sparkplug.work import Reading, SparkplugWork
from tests.collector.sources.sparkplug.test_session import DEVICE
from tests.collector.sources.sparkplug.wire import T0_MS, metric, payload

NOW = datetime.fromtimestamp(T0_MS / 1000, UTC) + timedelta(minutes=1)


class PlayedHost:
    """Hands out what the test gives it, and notes for whose births it was asked."""

    problem = None

    def __init__(self) -> None:
        self.given: queue.Queue[Arrived | Connected | Lost] = queue.Queue()
        self.asked: list[tuple[str, str]] = []

    def start(self) -> None:
        pass

    def close(self) -> None:
        pass

    def next(self, timeout_s: float) -> Arrived | Connected | Lost | None:
        try:
            return self.given.get(timeout=timeout_s or 0.001)
        except queue.Empty:
            return None

    def ask_for_births(self, group: str, node: str) -> None:
        self.asked.append((group, node))


def worked(*given: Arrived | Connected | Lost) -> tuple[list[Read], list[tuple[str, str]]]:
    """The records that come of it, and whose births were asked for."""
    host, records = PlayedHost(), []

    def take(new: list[Read], _stop: threading.Event) -> None:
        records.extend(new)

    for each in given:
        host.given.put(each)
    reading = Reading(site="lowland", policy=Policy(), now=lambda: NOW, wall=lambda: NOW)
    work = SparkplugWork(host, [DEVICE], reading, take=take, reorder_s=0.0)  # type: ignore[arg-type]
    work.start()
    deadline = time.monotonic() + 10
    while not host.given.empty() and time.monotonic() < deadline:
        time.sleep(0.01)
    time.sleep(0.3)
    work.stop(wait_s=5.0)
    assert work.failure is None
    return records, host.asked


def node_message(kind: str, *metrics: bytes, seq: int) -> Arrived:
    return Arrived(f"spBv1.0/Hall/{kind}", payload(metrics, seq=seq))


BIRTHS = (
    node_message("NBIRTH/G3", metric("bdSeq", 0), seq=0),
    node_message("DBIRTH/G3/Press 7", metric("Cycle/Counter", 1), metric("Cushion", 6.0), seq=1),
)


def test_births_and_data_become_a_state_and_a_shot() -> None:
    records, asked = worked(
        Connected(), *BIRTHS, node_message("DDATA/G3/Press 7", metric("Cycle/Counter", 2), seq=2)
    )

    state, shot = (each.record for each in records)
    assert isinstance(state, StateMessage)
    assert isinstance(shot, Shot)
    assert (state.press, state.state) == ("P7", "online")
    assert (shot.press, shot.counter, shot.values) == ("P7", 2, {"cushion": 6.0})
    assert asked == [("Hall", "G3")]


def test_after_a_lost_connection_nothing_is_carried_forward() -> None:
    records, asked = worked(
        Connected(), *BIRTHS, Lost(), Connected(),
        node_message("DDATA/G3/Press 7", metric("Cycle/Counter", 9), seq=40),
    )  # fmt: skip

    shot = records[-1].record
    assert isinstance(shot, Shot)
    assert (shot.values, set(shot.not_written)) == ({}, {"cushion", "peak_melt_pressure"})
    assert asked == [("Hall", "G3")] * 2


def test_commands_and_other_nodes_are_left_alone() -> None:
    records, _ = worked(
        Arrived("spBv1.0/Hall/NCMD/G3", b"x"), Arrived("spBv1.0/Hall/NDATA/G4", b"x"), Arrived("other", b"x")
    )

    assert records == []


def test_a_defect_of_ours_keeps_the_message_and_stops_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    take = EdgeNode.take

    def defective(self: EdgeNode, heard: object, *, now_s: float) -> object:
        if b"defect" in heard.raw:  # type: ignore[attr-defined]
            raise RuntimeError("a defect of ours")
        return take(self, heard, now_s=now_s)  # type: ignore[arg-type]

    monkeypatch.setattr(EdgeNode, "take", defective)

    records, _ = worked(node_message("NDATA/G3", metric("defect", 1), seq=7), *BIRTHS)

    refusal, state = (each.record for each in records)
    assert isinstance(refusal, Refusal)
    assert (refusal.reason, refusal.source) == ("undigested", "sparkplug")
    assert isinstance(state, StateMessage)
