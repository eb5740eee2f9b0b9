"""Runs that are trials: stored and shown, charted against nothing. Invented numbers."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa

from collector.contract.parse import parse
from collector.contract.policy import Policy as Intake
from collector.contract.refusal import Refusal
from collector.sources.incoming import Incoming
from collector.store import database
from collector.store.tables import alarms, shots
from tests.collector.pipelines import pipeline
from tests.collector.shots_in import START, cushions, message


def run_told(name: str, **more: Any) -> Incoming:
    body = {"press": "P1", "at": START.isoformat(), "run": name, "action": "open", **more}
    return Incoming("evenrun/1/lowland/P1/run", json.dumps(body).encode(), "mqtt", f"test:{name}")


def phases(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(conn.execute(sa.select(shots.c.phase).order_by(shots.c.id)).scalars())


def test_a_trial_is_stored_but_raises_nothing_and_makes_no_limits(engine: sa.Engine) -> None:
    values = cushions(120, shift=12.0, shift_from=60)
    told = [message(n, {"cushion": x}, run="R-9", setpoints={"hold_pressure": 40.0 + n // 20})
            for n, x in enumerate(values)]  # fmt: skip
    pipeline(engine).take([run_told("R-9", trial=True), *told])

    assert set(phases(engine)) == {"trial"}
    with database.read(engine) as conn:
        assert conn.execute(sa.select(sa.func.count()).select_from(alarms)).scalar() == 0


def test_the_run_after_a_trial_is_charted_again(engine: sa.Engine) -> None:
    taker = pipeline(engine)
    taker.take([run_told("R-9", trial=True), message(0, {"cushion": 6.0}, run="R-9")])
    taker.take([message(n, {"cushion": x}, run="R-10") for n, x in enumerate(cushions(60), 1)])

    assert phases(engine)[0] == "trial"
    assert set(phases(engine)[1:]) == {"startup", "baseline", "charted"}


def test_a_trial_that_is_no_truth_value_is_refused_with_what_would_be_right() -> None:
    found = parse(run_told("R-9", trial="yes"), now=START, received_at=START, policy=Intake())

    assert isinstance(found, Refusal)
    assert "/trial" in found.detail
    assert "true or false" in found.remedy
