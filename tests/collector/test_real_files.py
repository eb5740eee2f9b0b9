"""Real press-like files go through `--propose` and the import into a store: nothing refused, nothing lost.

What is held against: `pandas.read_csv` of the same files, and what their publisher says of them (12 repeated
time stamps in the machine's temperatures; zeros where the press had not written yet).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from collector.clock import real_clock
from collector.importing import Imported, import_csv
from collector.settings import Settings
from collector.sources import inspection, profiles
from collector.sources.inspection import Known
from collector.store import database
from collector.store import shots as stored_shots
from collector.store.tables import gaugings, presses
from tests import outside

KNOWN = Known(zone="UTC", now=datetime(2026, 11, 24, tzinfo=UTC), press="P1", run="R-1")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[sa.Engine]:
    engine = database.open_engine(f"sqlite:///{tmp_path}/store.db")
    database.upgrade(engine)
    yield engine
    engine.dispose()


def imported(engine: sa.Engine, file: str, known: Known = KNOWN) -> Imported:
    path = outside.folder() / "data" / file
    profile = profiles.parse(inspection.as_toml(inspection.propose(path, known)), "proposed")
    done = import_csv(engine, Settings(), path, profile, profile_name="proposed", clock=real_clock())
    assert done.counts.refused == 0, done.sentences
    return done


def published(file: str, **how: object) -> pd.DataFrame:
    frame: pd.DataFrame = pd.read_csv(outside.folder() / "data" / file, **how)
    return frame


def values(engine: sa.Engine, press: str, keys: list[str]) -> pd.DataFrame:
    with database.read(engine) as conn:
        press_id = conn.execute(sa.select(presses.c.id).where(presses.c.name == press)).scalar_one()
        return stored_shots.values(conn, press_id=press_id, keys=keys)


def test_the_run_of_a_closure_cap_and_its_later_dimensions(store: sa.Engine) -> None:
    frame = published("real-cap-run/shots.csv")

    assert imported(store, "real-cap-run/shots.csv").counts.stored == len(frame)
    found = values(store, "P1", ["injection_time", "peak_melt_pressure", "barrel_temperature.1"])
    assert found["counter"].tolist() == frame["cycle"].tolist()
    written = frame["t_inj_ist"].where(frame["t_inj_ist"] != 0)
    np.testing.assert_allclose(found["injection_time"], written)
    np.testing.assert_allclose(found["peak_melt_pressure"], frame["calc_peak_p_inj_bar"] / 10)
    np.testing.assert_allclose(found["barrel_temperature.1"], frame["T_zyl1_ist"])

    done = imported(store, "real-cap-run/shots.csv", replace(KNOWN, kind="gaugings"))
    quality = frame.filter(like="quality_")
    assert (done.counts.gaugings, done.counts.waiting) == (quality.count().sum(), 0)
    with database.read(store) as conn:
        of_shots = sa.select(sa.func.count()).where(gaugings.c.shot_id.is_not(None))
        assert conn.execute(of_shots).scalar_one() == quality.count().sum()


@pytest.mark.parametrize(
    ("file", "how", "columns"),
    [
        (
            "real-cap-run/Messdaten_Strgrsn_Umschaltpunkt_WKZTemp.csv", {"sep": ";"},
            ["Durchmesser_innen", "Durchmesser_außen", "Breite_Lasche", "Rundheit_außen"],
        ),
        ("real-cap-run/Gewicht_Strgrsn_Umschaltpkt_WKZTemp.csv", {"header": None}, [0]),
        (
            "real-cap-run/Strgn_Umschaltpkt.csv", {"sep": ";"},
            ["Gewicht", "Durchmesser_innen", "Durchmesser_außen", "Breite_Lasche", "Rundheit_außen"],
        ),
    ],
    ids=["projector", "scale", "plan"],
)  # fmt: skip
def test_the_files_that_the_dimensions_came_from(
    store: sa.Engine, file: str, how: dict[str, object], columns: list[str | int]
) -> None:
    wanted = published(file, **how)[columns]

    done = imported(store, file)

    assert done.counts.gaugings == wanted.count().sum()
    with database.read(store) as conn:
        found = [value for (value,) in conn.execute(sa.select(gaugings.c.value))]
    assert sorted(found) == pytest.approx(sorted(wanted.to_numpy().ravel().tolist()))


@pytest.mark.slow
def test_the_temperatures_of_a_large_machine_with_times_that_come_twice(store: sa.Engine) -> None:
    file = "machine-temperature/machine_temperature_system_failure.csv"
    frame = published(file, parse_dates=["timestamp"])
    known = replace(KNOWN, press="M1", run="R-2")

    done = imported(store, file, known)

    assert (done.counts.stored, done.counts.amended) == (len(frame) - 12, 12)
    last = frame.groupby("timestamp")["value"].last()  # a later reading of the same time corrects the earlier
    found = values(store, "M1", ["machine_temperature"]).sort_values("ended_at")
    np.testing.assert_allclose(found["machine_temperature"], last)
