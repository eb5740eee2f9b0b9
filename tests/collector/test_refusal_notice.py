"""The running collector tells of refused messages, at most once a second."""

from __future__ import annotations

import logging

import pytest
import sqlalchemy as sa

from collector.service import RefusalNotice
from tests.collector.pipelines import messages, pipeline


def test_refused_messages_are_told_in_one_line_a_second(
    engine: sa.Engine, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING, logger="evenrun.collector")
    pipeline(engine).take([each._replace(payload=b"{") for each in messages([6.0])])
    seconds = [100.0]
    notice = RefusalNotice(engine, monotonic=lambda: seconds[0])

    notice.say_if_due()
    notice.add(1)
    notice.say_if_due()
    notice.add(2)
    notice.say_if_due()
    seconds[0] += 1.0
    notice.say_if_due()

    first, second = [record.getMessage() for record in caplog.records]
    assert first.startswith("refused 1 message, the last: ")
    assert second.startswith("refused 2 messages, the last: ")
    assert second.endswith("; `evenrun refused` lists them")
