"""One run with a story, brought in as a file through the real pipeline: invented data."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from collector.clock import ServiceClock
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.importing import import_csv
from collector.settings import Settings
from collector.store import database

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
NOW = START + timedelta(days=4)
RUN = "R-<b>9</b> & co"
FIRST, LAST = 500, 799          # counters of the run
WARM = range(650, 700)          # the mold core runs 3 degC warm
CYCLE = timedelta(seconds=60)
CLOCK = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)


def shot_profile(run: str = RUN) -> ShotProfile:
    """Times that were read, trays, one vital temperature and one vital time."""
    return ShotProfile.model_validate({
        "kind": "shots", "press": "P2", "run": run, "mold": "Larch 5", "blend": "A", "lot": "7702",
        "counter_column": "shot", "tray_column": "tray", "startup_shots": 10,
        "time": {"columns": ["at"]},
        "values": [
            {"key": "mold_core_temperature", "column": "core", "unit": "degC"},
            {"key": "injection_time", "column": "fill", "unit": "s"},
        ],
    })  # fmt: skip


GAUGINGS = GaugingProfile.model_validate({
    "kind": "gaugings", "press": "P2", "run": RUN, "link": "counter", "counter_column": "shot",
    "time": {"columns": ["at"]}, "gauge": "height gauge 1",
    "characteristics": [{"key": "dome", "column": "dome", "unit": "mm"}],
})  # fmt: skip


def store_run(
    engine: sa.Engine, folder: Path, *, run: str = RUN, first: int = FIRST, seed: int = 5, warm: range = WARM,
    start: datetime = START,
) -> None:
    """Import a run of 300 shots."""
    rng = np.random.default_rng(seed)
    lines = ["shot,at,tray,core,fill"]
    for index in range(LAST - FIRST + 1):
        counter = first + index
        core = 31.0 + 0.1 * rng.standard_normal() + (3.0 if counter in warm else 0.0)
        fill = 2.4 + 0.01 * rng.standard_normal()
        at = start + index * CYCLE
        lines.append(f"{counter},{at:%Y-%m-%dT%H:%M:%SZ},T{counter // 25},{core:.2f},{fill:.3f}")
    _take(engine, folder / f"{first}-{seed}.csv", lines, shot_profile(run))


def gauge(
    engine: sa.Engine, folder: Path, *, every: int = 6, warm_age_h: float = 30.0, mixed: bool = False
) -> None:
    """Gauge every sixth disc at an age of 30 h, warm ones at an age of their own; they dome 0.5 mm more.

    With `mixed` only every second warm disc has that other age, and creeps on by 0.3 mm until then.
    """
    rng = np.random.default_rng(8)
    lines = ["shot,at,dome"]
    for counter in range(FIRST, LAST + 1, every):
        late = counter in WARM and not (mixed and counter // every % 2)
        dome = 2.6 + 0.08 * rng.standard_normal() + (0.5 if counter in WARM else 0.0)
        dome += 0.3 if late and mixed else 0.0
        age = timedelta(hours=warm_age_h if late else 30.0)
        at = START + (counter - FIRST) * CYCLE + age
        lines.append(f"{counter},{at:%Y-%m-%dT%H:%M:%SZ},{dome:.2f}")
    _take(engine, folder / "dome.csv", lines, GAUGINGS)


def _take(engine: sa.Engine, path: Path, lines: list[str], profile: ShotProfile | GaugingProfile) -> None:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = import_csv(engine, Settings(), path, profile, profile_name="test", clock=CLOCK)
    assert not done.sentences, done.sentences
    counts = done.counts  # shots of a run that is older than the newest shot of their press count as past
    assert counts.stored + counts.past + counts.gaugings == len(lines) - 1, counts


def new_store(folder: Path) -> sa.Engine:
    """An empty store in a folder."""
    engine = database.open_engine(f"sqlite:///{folder / 'audit.db'}")
    database.upgrade(engine)
    return engine
