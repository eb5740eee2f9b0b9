"""What the collector's threads do when something goes wrong."""

from __future__ import annotations

import threading
from random import Random

import pytest
import sqlalchemy as sa

from collector import service


def test_delivery_goes_on_after_an_error_that_nobody_foresaw(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    rounds, second = [], threading.Event()

    def deliver(*_: object, **__: object) -> int:
        rounds.append(1)
        if len(rounds) == 1:
            raise RuntimeError("a defect of ours")
        second.set()
        return 0

    monkeypatch.setattr(service, "deliver_due", deliver)
    delivery = service.Delivery(engine, {}, random=Random(20))
    delivery.start()
    delivery.soon()
    while not rounds:
        threading.Event().wait(0.01)
    delivery.soon()

    assert second.wait(5.0)
    delivery.stop()
