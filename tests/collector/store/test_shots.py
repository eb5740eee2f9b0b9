"""Shots go in once, come back as columns, and can be read by other programs."""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd
import psycopg
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from collector.store import digest, shot_values, shots, tables
from collector.store.database import read, write
from tests.store_fixtures import MakeShot, Seeded

KEYS = ["cushion", "peak_melt_pressure", "barrel_temperature.1"]


def plain_sql(engine: sa.Engine, query: str) -> list[tuple[Any, ...]]:
    """Ask the database with nothing of ours in between."""
    if engine.dialect.name == "sqlite":
        assert engine.url.database is not None
        connection = sqlite3.connect(engine.url.database)
        rows = connection.execute(query).fetchall()
        connection.close()
        return rows
    url = engine.url.set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(url) as server:
        return server.execute(query).fetchall()


def add(seeded: Seeded, *new: shots.NewShot) -> list[int]:
    with write(seeded.engine) as conn:
        return shots.insert(conn, new)


def get(seeded: Seeded, **asked: Any) -> pd.DataFrame:
    with read(seeded.engine) as conn:
        return shots.values(conn, **({"keys": KEYS} | asked))


def test_ids_come_in_the_order_of_the_shots(seeded: Seeded) -> None:
    frame = get(seeded)

    assert frame["id"].tolist() == seeded.shot_ids == sorted(seeded.shot_ids)
    assert frame["counter"].tolist() == list(range(100))


def test_columns_have_the_promised_types_also_when_empty(seeded: Seeded) -> None:
    full, empty = get(seeded), get(seeded, press_id=10_000)

    assert list(full.columns) == [
        *("id", "counter", "epoch", "ended_at", "tray", "tray_position"),
        *("phase", "share", "share_key", "signaled", *KEYS),
    ]
    assert str(full["ended_at"].dtype) == "datetime64[us, UTC]"
    assert full.dtypes.tolist() == empty.dtypes.tolist()
    assert len(empty) == 0


def test_values_and_times_come_back_exactly(seeded: Seeded, make_shot: MakeShot) -> None:
    ended_at = seeded.started_at + timedelta(days=400, microseconds=1)
    sent = {"cushion": 0.1 + 0.2, "peak_melt_pressure": 5e-324, "barrel_temperature.1": 1e22}
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, ended_at=ended_at, values=sent))
    row = get(seeded, last=1).iloc[0]

    assert {key: row[key] for key in KEYS} == sent
    assert row["ended_at"].to_pydatetime() == ended_at


def test_a_missing_value_is_nan_and_zero_is_a_value(seeded: Seeded, make_shot: MakeShot) -> None:
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, values={"cushion": 0.0}))
    row = get(seeded, last=1, keys=["cushion", "peak_melt_pressure", "never_heard_of"]).iloc[0]

    assert row["cushion"] == 0.0
    assert math.isnan(row["peak_melt_pressure"])
    assert math.isnan(row["never_heard_of"])


def test_a_shot_without_any_value_is_read(seeded: Seeded, make_shot: MakeShot) -> None:
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, values={}))

    assert get(seeded, last=1)[KEYS].isna().all(axis=None)


@pytest.mark.parametrize(
    ("asked", "counters"),
    [
        ({"last": 3}, [97, 98, 99]),
        ({"phases": ["startup"], "last": 2}, [8, 9]),
        ({"since": timedelta(minutes=97)}, [97, 98, 99]),
        ({"until": timedelta(minutes=2)}, [0, 1]),
        ({"since": timedelta(minutes=4), "until": timedelta(minutes=6)}, [4, 5]),
        ({"after": 97}, [98, 99]),
    ],
)
def test_a_part_can_be_asked_for(seeded: Seeded, asked: dict[str, Any], counters: list[int]) -> None:
    asked = {
        name: seeded.started_at + value if isinstance(value, timedelta) else value
        for name, value in asked.items()
    }
    if "after" in asked:
        asked["after_id"] = seeded.shot_ids[asked.pop("after")]

    assert get(seeded, press_id=seeded.press_id, **asked)["counter"].tolist() == counters
    assert get(seeded, run_id=seeded.run_id, **asked)["counter"].tolist() == counters


def test_a_new_key_needs_no_migration(seeded: Seeded, make_shot: MakeShot) -> None:
    own_unit = {"vent_flow": (3.0, "L/min")}
    add(
        seeded,
        make_shot(press_id=seeded.press_id, counter=500, values={"vent_flow": 3.0}, originals=own_unit),
    )
    with read(seeded.engine) as conn:
        assert shots.keys(conn, press_id=seeded.press_id) == [
            *("barrel_temperature.1", "cushion", "injection_time", "peak_melt_pressure", "vent_flow"),
        ]
        assert "vent_flow" not in shots.keys(conn, run_id=seeded.run_id)


def test_keys_of_the_newest_shots_alone(seeded: Seeded, make_shot: MakeShot) -> None:
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, values={"vent_flow": 3.0}))
    with read(seeded.engine) as conn:
        assert shots.keys(conn, press_id=seeded.press_id, last=1) == ["vent_flow"]


def test_plain_sql_reads_a_value_by_its_name(seeded: Seeded) -> None:
    rows = plain_sql(seeded.engine, "SELECT characteristics ->> 'cushion' FROM shots WHERE counter = 3")

    assert [float(value) for (value,) in rows] == [6.2]


def test_plain_sql_reads_any_key_with_its_original_value_and_unit(seeded: Seeded) -> None:
    rows = plain_sql(
        seeded.engine,
        "SELECT site, press, key, value, original_value, original_unit FROM shot_values "
        "WHERE counter = 3 ORDER BY key",
    )

    assert rows == [
        ("lowland", "P1", "barrel_temperature.1", 205.0, 205.0, None),
        ("lowland", "P1", "cushion", 6.2, 6.2, None),
        ("lowland", "P1", "injection_time", pytest.approx(2.403, abs=1e-12), pytest.approx(2.403), None),
        ("lowland", "P1", "peak_melt_pressure", pytest.approx(74.5, abs=1e-12), 745.0, "bar"),
    ]


def test_the_same_shot_again_is_refused_and_leaves_nothing(seeded: Seeded, make_shot: MakeShot) -> None:
    new = make_shot(press_id=seeded.press_id, counter=500)
    with pytest.raises(sa.exc.IntegrityError):
        add(seeded, new, new)

    assert len(get(seeded)) == 100


def test_without_a_counter_the_time_is_the_identity(seeded: Seeded, make_shot: MakeShot) -> None:
    new = make_shot(press_id=seeded.press_id, counter=None)
    add(seeded, new)
    with pytest.raises(sa.exc.IntegrityError):
        add(seeded, new)


def test_a_value_that_is_not_finite_is_refused(seeded: Seeded, make_shot: MakeShot) -> None:
    with pytest.raises(ValueError, match="must be a finite number"):
        add(seeded, make_shot(press_id=seeded.press_id, counter=500, values={"cushion": math.nan}))


def test_a_share_that_is_not_a_number_is_stored_as_missing(seeded: Seeded, make_shot: MakeShot) -> None:
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, share=math.nan))

    assert plain_sql(seeded.engine, "SELECT share FROM shots WHERE counter = 500") == [(None,)]


def test_a_shot_of_an_unknown_press_is_refused(seeded: Seeded, make_shot: MakeShot) -> None:
    with pytest.raises(ValueError, match="no press has the id 99; store the press"):
        add(seeded, make_shot(press_id=99))


def test_the_digest_is_what_its_description_says(seeded: Seeded) -> None:
    # Written out by hand from the description in the module, in the canonical form of RFC 8785.
    text = (
        '{"counter":3,"ended_at":1795514580000000,"epoch":0,"form":1,"not_written":[],'
        '"originals":{"peak_melt_pressure":[745,"bar"]},"press":"P1","received_at":1795514580120000,'
        '"setpoint_originals":{},"setpoints":{"cooling_time":36},"site":"lowland","source":"test",'
        '"time_reconstructed":false,"values":{"barrel_temperature.1":205,"cushion":6.2,'
        f'"injection_time":{2.4 + 0.001 * 3!r},"peak_melt_pressure":74.5}}}}'
    )
    stored_digest = sa.select(tables.shots.c.digest).where(tables.shots.c.counter == 3)
    with read(seeded.engine) as conn:
        stored = conn.execute(stored_digest).scalar_one()

    assert stored == hashlib.sha256(text.encode()).digest()


def test_a_digest_tells_when_a_stored_value_was_changed(seeded: Seeded) -> None:
    with read(seeded.engine) as conn:
        assert shots.broken_digests(conn, press_id=seeded.press_id) == []
    with write(seeded.engine) as conn:
        change = sa.update(tables.shots).where(tables.shots.c.id == seeded.shot_ids[7])
        conn.execute(change.values(characteristics={"cushion": 6.3}))
    with read(seeded.engine) as conn:
        assert shots.broken_digests(conn, run_id=seeded.run_id) == [seeded.shot_ids[7]]


def test_a_digest_survives_awkward_numbers_and_names(seeded: Seeded, make_shot: MakeShot) -> None:
    awkward = {"a": -0.0, "b": 1e22, "c": 5e-324, "d": 1 / 3, "\ufb33": 1e16, "\U0001f600": 123456789.0}
    add(seeded, make_shot(press_id=seeded.press_id, counter=500, values=awkward, setpoints=awkward))
    with read(seeded.engine) as conn:
        assert shots.broken_digests(conn) == []


@pytest.mark.parametrize(
    "changed",
    [
        {"counter": 4},
        {"epoch": 1},
        {"time_reconstructed": True},
        {"source": "other"},
        {"values": {"cushion": 6.2000000000000003}},
        {"setpoints": {}},
        {"originals": {"peak_melt_pressure": (742.0, "psi")}},
        {"setpoint_originals": {"cooling_time": (0.6, "min")}},
        {"not_written": ("part_weight",)},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_a_digest_covers_each_fact(
    seeded: Seeded, make_shot: MakeShot, changed: dict[str, Any]
) -> None:
    facts = {"press_id": seeded.press_id, "counter": 500, "ended_at": seeded.started_at}
    add(seeded, make_shot(**facts))
    add(seeded, make_shot(**(facts | {"epoch": 7} | changed)))
    newest = sa.select(tables.shots).order_by(tables.shots.c.id.desc()).limit(1)
    with read(seeded.engine) as conn:
        row = conn.execute(newest).mappings().one()
    named = dict(row) | {"site": "lowland", "name": "P1"}
    plain = make_shot(**(facts | {"epoch": 7}))
    same_but = {name: getattr(plain, name) for name in changed if name != "values"}
    if "values" in changed:
        same_but["characteristics"] = plain.values

    assert digest.of_row(named) == row["digest"]
    assert digest.of_row(named | same_but) != row["digest"]


@given(
    st.lists(
        st.dictionaries(
            st.sampled_from(["a", "b", "c.1"]), st.floats(allow_nan=False, allow_infinity=False), max_size=3
        ),
        max_size=20,
    )
)
def test_decoding_many_shots_equals_decoding_each(rows: list[dict[str, float]]) -> None:
    keys = ["c.1", "a"]
    decoded = shot_values.columns([json.dumps(row) for row in rows], keys)

    for key in keys:
        expected = np.array([row.get(key, math.nan) for row in rows], dtype=float)
        assert np.array_equal(decoded[key], expected, equal_nan=True)
