"""How long the engine takes over a batch, as a multiple of json.loads of the same shots' messages.

    python tests/benchmarks/bench_engine.py [--tries 200]

A batch of 100 shots of ten characteristics of one press, default chart plan, limits from 500 shots, the batch
before judged too, so that it is known what each value usually is. The goal is a multiple of 1 or less. Beside
it: the batch with one characteristic three sigma off, one of a press whose usual values are not known yet,
the same charts with CUSUMs of residuals, and the same shots judged one by one. Times are of the processor
(one thread), the fastest of so many tries.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from ten_characteristics import KEYS, messages

from collector import engine
from collector.contract.parse import parse
from collector.contract.policy import Policy as Intake
from collector.contract.shot import Shot
from collector.identity import Identity, Kind, Last
from collector.plan import Budget, plan_key
from collector.press_state import PressState, under
from collector.sources.incoming import Incoming
from collector.verdict import Policy
from rules.baseline import provisional
from rules.charts import make
from rules.charts.chart import Chart

BATCH = 100
BASELINE = 500
GOAL = 1.0
NEXT = Identity(Kind.NEW, epoch=0)
POLICY = Policy(vital=frozenset(KEYS))


def best_of(tries: int, work: Callable[[], object]) -> float:
    """Seconds of the fastest of several tries."""
    taken = []
    for _ in range(tries):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def one_press(shots: int) -> tuple[list[bytes], list[Shot]]:
    """Messages of the first press, and what they read as."""
    now = datetime.now(UTC)
    sent = [each for each in messages(2 * shots) if "/P1/" in each.topic]
    read = [
        parse(Incoming(each.topic, each.payload, "bench", "-"), now=now, received_at=now, policy=Intake())
        for each in sent
    ]
    return [each.payload for each in sent], [each for each in read if isinstance(each, Shot)]


def run(state: PressState, shots: Sequence[Shot]) -> PressState:
    """Judge shots as a batch."""
    return engine.run(state, shots, [NEXT] * len(shots), POLICY)[0]


def one_by_one(state: PressState, shots: Sequence[Shot]) -> None:
    """Judge shots by themselves."""
    for each in shots:
        state, _ = engine.step(state, each, NEXT, POLICY)


def steady(shots: Sequence[Shot]) -> PressState:
    """A press after these shots, with limits made from them."""
    floor = Budget(false_alarms_per_day=1.0, characteristics=len(KEYS), cycle_time_s=60.0)
    values = {key: [shot.values[key] for shot in shots] for key in KEYS}
    keys = {
        key: under(plan_key(key, provisional(held), floor, version=1)) for key, held in values.items()
    }
    last = Last(0, shots[-1].counter, shots[-1].ended_at)
    return PressState(last=last, charting=True, keys=keys, cycles_s=tuple(values["cycle_time"][-31:]))


def signaling(state: PressState, shots: Sequence[Shot]) -> int:
    """How many shots of a batch signal."""
    return sum(bool(each.signals) for each in engine.run(state, shots, [NEXT] * len(shots), POLICY)[1])


def shifted(shot: Shot, state: PressState) -> Shot:
    """The same shot with a cushion three sigma higher."""
    limits = state.keys["cushion"].limits
    assert limits is not None
    higher = shot.values["cushion"] + 3 * limits.baseline.sigma
    return shot._replace(values={**shot.values, "cushion": higher})


def on_residuals(state: PressState) -> PressState:
    """The same press with CUSUM charts of residuals in the place of those of the values."""
    keys = {}
    for key, held in state.keys.items():
        assert held.limits is not None
        charts = tuple(_on_residuals(chart) for chart in held.limits.charts)
        keys[key] = under(replace(held.limits, charts=charts))
    return replace(state, keys=keys)


def _on_residuals(chart: Chart[object]) -> Chart[object]:
    if chart.name != "cusum":
        return chart
    given = chart.parameters()
    inner = {"k": given["k"], "h": given["h"]}
    return make(
        "residual",
        {"center": given["center"], "sigma": given["sigma"], "phi": 0.5, "chart_parameters": inner},
    )


def main() -> None:
    """Print a line a case; the first one is the goal."""
    formatter = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=formatter)
    parser.add_argument("--tries", type=int, default=200, help="the fastest of so many counts (200)")
    tries = parser.parse_args().tries
    payloads, shots = one_press(BASELINE + 2 * BATCH)
    new, batch = steady(shots[:BASELINE]), shots[-BATCH:]
    state = run(new, shots[BASELINE:-BATCH])
    off, whitened = [shifted(each, state) for each in batch], run(on_residuals(state), batch[:1])
    unit = best_of(tries, lambda: [json.loads(payload) for payload in payloads[-BATCH:]])
    print(f"json.loads of {BATCH} shots of {len(KEYS)} characteristics: {1e6 * unit:.0f} us")
    cases: tuple[tuple[str, int, Callable[[], object]], ...] = (
        (f"batch, {signaling(state, batch)} shots signal", tries, lambda: run(state, batch)),
        (f"batch, {signaling(state, off)} shots signal", tries, lambda: run(state, off)),
        ("batch, values not known yet", tries, lambda: run(new, shots[BASELINE:-BATCH])),
        ("batch, CUSUMs of residuals", tries, lambda: run(whitened, batch)),
        ("one by one", max(1, tries // 20), lambda: one_by_one(state, batch)),
    )
    for label, times, work in cases:
        print(f"{label:<28}{best_of(times, work) / unit:6.2f} x")
    print(f"goal for a batch: {GOAL:.0f} x")


if __name__ == "__main__":
    main()
