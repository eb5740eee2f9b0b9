"""A press whose values a test writes down: stored, charted by the real charts, given to the alarms.

Invented numbers; they prove what the alarms do with signals, nothing about a press.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from collector.alarms import apply
from collector.alarms.model import PressRef, ShotVerdict, SignalFact
from collector.clock import ServiceClock
from collector.store import alarms as alarm_store
from collector.store import database, shots, tables
from collector.store.alarms import AlarmRow
from rules.charts.cusum import CusumChart
from rules.charts.individuals import IndividualsChart

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
CYCLE = timedelta(seconds=60)
USUAL = {"mold_core_temperature": (31.4, 0.2), "cushion": (6.1, 0.1), "part_weight": (175.3, 0.1)}
DISCS_A_TRAY = 20


class Floor:
    """One press with limits; `make` adds shots, a batch a call."""

    def __init__(self, engine: sa.Engine, name: str = "P1") -> None:
        self.engine = engine
        self.made = 0
        self.charts_since_shot_id = 1
        self.quiet_charts = False  # a test that needs charts which have not gathered enough yet
        with database.write(engine) as conn:
            self.press = PressRef(
                id=_insert(conn, "presses", site="lowland", name=name), site="lowland", name=name
            )
            self.run_id = _insert(
                conn, "runs", press_id=self.press.id, name="R-1", mold="Larch 5", opened_at=START,
                opened_by="message",
            )  # fmt: skip
            self.limits = {key: self._limits(conn, key) for key in USUAL}
        self.states: dict[tuple[str, str], Any] = {}
        self.charts = {
            (key, chart.name): chart
            for key, (center, sigma) in USUAL.items()
            for chart in (
                IndividualsChart(center=center, sigma=sigma, width=4.5),
                CusumChart(center=center, sigma=sigma, h=8.0),
            )
        }

    def _limits(self, conn: sa.Connection, key: str) -> int:
        center, sigma = USUAL[key]
        baseline = {"center": center, "sigma": sigma, "n": 300, "phi": 0.0, "sigma_method": "moving_range"}
        return _insert(
            conn, "limits", press_id=self.press.id, context="c", run_id=None, key=key, version=1,
            standing="firm", baseline=baseline, charts=[], at=START,
        )  # fmt: skip

    @property
    def clock(self) -> ServiceClock:
        """Floor time of the newest shot."""
        now = START + self.made * CYCLE
        return ServiceClock(wall_anchor=now, service_anchor=now, wall=lambda: now)

    def steady(self, count: int, seed: int = 1, **shift: float | NDArray[np.float64]) -> dict[str, Any]:
        """Values of some shots around the usual levels, moved by `shift` (canonical units) where named."""
        rng = np.random.default_rng(seed)
        return {
            key: center + 0.8 * sigma * rng.standard_normal(count) + shift.get(key, 0.0)
            for key, (center, sigma) in USUAL.items()
        }

    def make(
        self, values: Mapping[str, Sequence[float]], *, phase: str = "charted", batch: int = 1_000
    ) -> list[int]:
        """Store shots and let charts and alarms see them; returns their ids."""
        count = len(next(iter(values.values())))
        ids: list[int] = []
        for start in range(0, count, batch):
            part = {key: [float(x) for x in column[start : start + batch]] for key, column in values.items()}
            with database.write(self.engine) as conn:
                ids += self._batch(conn, part, phase)
        return ids

    def _batch(self, conn: sa.Connection, values: dict[str, list[float]], phase: Any) -> list[int]:
        rows = []
        for index in range(len(next(iter(values.values())))):
            at = START + (self.made + index) * CYCLE
            rows.append(
                shots.NewShot(
                    press_id=self.press.id, epoch=1, counter=1_000 + self.made + index, ended_at=at,
                    received_at=at, run_id=self.run_id, tray=str(41 + (self.made + index) // DISCS_A_TRAY),
                    phase=phase, source="test", values={key: column[index] for key, column in values.items()},
                )
            )  # fmt: skip
        ids = shots.insert(conn, rows)
        self.made += len(rows)
        verdicts = [
            ShotVerdict(
                shot_id=shot_id, counter=row.counter, ended_at=row.ended_at, run_id=self.run_id, phase=phase,
                tray=row.tray, signals=self._signals(conn, shot_id, row.values) if phase == "charted" else (),
            )
            for shot_id, row in zip(ids, rows, strict=True)
        ]  # fmt: skip
        now = START + self.made * CYCLE
        apply.process(
            conn, self.press, verdicts, now=now, wall=now, charts_since_shot_id=self.charts_since_shot_id
        )
        return ids

    def _signals(
        self, conn: sa.Connection, shot_id: int, values: Mapping[str, float]
    ) -> tuple[SignalFact, ...]:
        facts: list[SignalFact] = []
        if self.quiet_charts:
            return ()
        for (key, name), chart in self.charts.items():
            state = self.states.get((key, name), chart.start())
            self.states[key, name], point = chart.step(state, values[key])
            for rule in point.signals:
                fields = {
                    "kind": "chart", "key": key, "chart": name, "rule": rule, "direction": point.direction,
                    "value": values[key], "statistic": point.statistic, "share": point.share,
                    "limits_id": self.limits[key],
                }  # fmt: skip
                signal_id = _insert(
                    conn,
                    "signals",
                    press_id=self.press.id,
                    shot_id=shot_id,
                    points=1,
                    withdrawn=False,
                    **fields,
                )
                facts.append(SignalFact(signal_id=signal_id, **fields))
        return tuple(facts)

    def off_recipe(
        self, shot_id: int, key: str, value: float, *, phase: Any = "charted"
    ) -> None:
        """A setpoint of a stored shot outside what the recipe allows."""
        fields = {
            "kind": "setting", "key": key, "chart": None, "rule": "off_recipe", "direction": -1,
            "value": value, "statistic": value, "share": 2.0, "limits_id": None,
        }  # fmt: skip
        with database.write(self.engine) as conn:
            signal_id = _insert(
                conn, "signals", press_id=self.press.id, shot_id=shot_id, points=1, withdrawn=False, **fields
            )
            verdict = ShotVerdict(
                shot_id=shot_id, counter=None, ended_at=START, run_id=self.run_id, phase=phase, tray=None,
                signals=(SignalFact(signal_id=signal_id, **fields),),
            )  # fmt: skip
            apply.process(conn, self.press, [verdict], now=START, wall=START, charts_since_shot_id=None)

    def in_doubt(self, shot_id: int, key: str, rule: str, *, value: float, usual: float | None) -> None:
        """A value of a stored shot that the data checks doubt."""
        fields = {
            "kind": "data", "key": key, "chart": None, "rule": rule, "direction": 0, "value": value,
            "statistic": usual, "share": None, "limits_id": None,
        }  # fmt: skip
        with database.write(self.engine) as conn:
            signal_id = _insert(
                conn, "signals", press_id=self.press.id, shot_id=shot_id, points=1, withdrawn=False, **fields
            )
            verdict = ShotVerdict(
                shot_id=shot_id, counter=None, ended_at=START, run_id=self.run_id, phase="charted", tray=None,
                signals=(SignalFact(signal_id=signal_id, **fields),),
            )  # fmt: skip
            apply.process(conn, self.press, [verdict], now=START, wall=START, charts_since_shot_id=None)

    def restart_charts(self) -> None:
        """What the pipeline does when asked."""
        self.states.clear()

    def alarms(self) -> list[AlarmRow]:
        """Unclosed alarms, oldest first."""
        with database.read(self.engine) as conn:
            return alarm_store.unclosed(conn, press_id=self.press.id)

    def alarm(self) -> AlarmRow:
        """The only unclosed alarm."""
        (alarm,) = self.alarms()
        return alarm

    def rows(self, table: str) -> list[dict[str, Any]]:
        """Everything in a table, oldest first."""
        with database.read(self.engine) as conn:
            found = tables.metadata.tables[table]
            return [dict(row) for row in conn.execute(sa.select(found).order_by(found.c.id)).mappings()]


def _insert(conn: sa.Connection, table: str, **row: Any) -> int:
    target = tables.metadata.tables[table]
    return int(conn.execute(sa.insert(target).values(**row).returning(target.c.id)).scalar_one())
