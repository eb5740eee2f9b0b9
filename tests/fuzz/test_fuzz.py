"""The fuzzer in its short form, and that it would find something; the long one is `python -m tests.fuzz`."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import press_work
from collector.sources import csv_file
from tests.fuzz import files
from tests.fuzz.judge import FileJudge, MessageJudge, Report, time_limit
from tests.fuzz.mangling import mangled
from tests.fuzz.messages import SOURCES
from tests.fuzz.run import fuzz


def test_no_bytes_crash_hang_or_go_without_a_name() -> None:
    report = fuzz(2_000, seed=20)

    assert report.failures == []
    assert report.cases == 2_000
    assert len(report.outcomes) >= 12  # it reaches most reasons; a fuzzer of plain noise reaches two
    assert report.outcomes["read"] > 200


def test_the_same_seed_makes_the_same_bytes() -> None:
    right = files.SEMICOLONS

    assert [mangled(right, seed) for seed in range(50)] == [mangled(right, seed) for seed in range(50)]
    assert len({mangled(right, seed) for seed in range(50)}) > 40


@pytest.mark.parametrize("sign", ["1", " ", "a/", "_a", "[", "1.1.", "1:"])
def test_a_cell_or_a_name_without_end_is_no_hang(tmp_path: Path, sign: str) -> None:
    """Found by the long form: a pattern that tried every way to part 67,000 digits."""
    report, long = Report(), (sign * 60_000).encode()
    judge = FileJudge(report, tmp_path, propose_every=1)
    content, profile = files.SOURCES[2]
    rows = content.split(b"\n")
    judge.take(b"\n".join((rows[0], rows[1], long + b"x", *rows[2:])), profile)
    judge.take(b"\n".join((rows[0] + b"," + long + b"x", *rows[1:])), profile)

    assert report.failures == []


def test_a_message_that_reads_well_and_breaks_the_code_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    report = Report()
    judge = MessageJudge(report)
    monkeypatch.setattr(press_work.PressWork, "_new", broken)
    judge.take(SOURCES[0][0], b'{"ended_at": "2026-11-24T10:00:00Z", "values": {"cushion": 5.1}}')
    judge.flush()

    assert report.failed == 1
    assert "no code can digest it" in report.failures[0]


def test_a_reader_that_raises_or_hangs_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def endless(*_: object) -> None:
        while True:
            pass

    report = Report()
    judge = FileJudge(report, tmp_path, propose_every=1_000)
    for broken in (endless, lambda *_: 1 / 0):
        monkeypatch.setattr(csv_file, "read", broken)
        monkeypatch.setattr("tests.fuzz.judge.time_limit", lambda _seconds: time_limit(0.2))
        judge.take(*files.SOURCES[0])

    assert [failure.partition(":")[0] for failure in report.failures] == ["Hang", "ZeroDivisionError"]
