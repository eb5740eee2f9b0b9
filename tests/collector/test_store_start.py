"""A process that is up before its database waits for it and says so."""

from __future__ import annotations

import logging
import threading
from random import Random

import pytest

from collector.errors import SettingsError, StoreUnavailable
from collector.sources.mqtt_settings import MqttSettings
from collector.store_start import when_there

QUICK = MqttSettings(site="lowland", first_wait_s=0.001, longest_wait_s=0.002)


def test_it_asks_until_there_is_an_answer_and_says_each_time_what_is_wrong(
    caplog: pytest.LogCaptureFixture,
) -> None:
    answers: list[Exception | str] = [StoreUnavailable("the disk is full"), StoreUnavailable("away"), "there"]

    def ask() -> str:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    with caplog.at_level(logging.WARNING):
        assert when_there(ask, back_off=QUICK, stop=threading.Event(), random=Random(1)) == "there"

    said = [record.getMessage().partition(";")[0] for record in caplog.records]
    assert said == ["the disk is full", "away"]


def test_it_gives_up_when_it_is_stopped() -> None:
    stop = threading.Event()

    def ask() -> str:
        stop.set()
        raise StoreUnavailable("away")

    assert when_there(ask, back_off=QUICK, stop=stop, random=Random(1)) is None


def test_a_setting_that_is_wrong_ends_it_at_once() -> None:
    def ask() -> str:
        raise SettingsError("database_url is no database URL")

    with pytest.raises(SettingsError):
        when_there(ask, back_off=QUICK, stop=threading.Event(), random=Random(1))
