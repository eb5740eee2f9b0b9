"""Refused messages taken again: once each, marked, and never kept twice. On both databases."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from collector.cli import main
from collector.clock import ServiceClock
from collector.contract.policy import Policy as Intake
from collector.contract.refusal import Refusal
from collector.pipeline import Pipeline
from collector.replaying import Replayed, replay_refused
from collector.sources.sparkplug.work import SOURCE
from collector.store import database, refusals
from collector.store.tables import refusals as table
from collector.store.tables import shots
from tests.collector.pipelines import NOW, POLICY, messages, pipeline, rows


def _only(engine: sa.Engine, press: str) -> Pipeline:
    clock = ServiceClock(wall_anchor=NOW, service_anchor=NOW, wall=lambda: NOW)
    intake = Intake(known_presses=frozenset({press}))
    return Pipeline(engine, policy=POLICY, intake=intake, clock=clock, wall=lambda: NOW)


def test_messages_that_read_after_a_setting_was_mended_are_stored_and_marked(engine: sa.Engine) -> None:
    _only(engine, "P9").take(messages([6.0, 6.1, 6.2]))
    assert len(rows(engine, table.c.id)) == 3

    assert replay_refused(engine, pipeline(engine), wall=lambda: NOW) == Replayed(taken=3)

    assert len(rows(engine, shots.c.id)) == 3
    assert rows(engine, table.c.state, table.c.replayed_at) == [("replayed", NOW)] * 3
    assert replay_refused(engine, pipeline(engine), wall=lambda: NOW) == Replayed()


def test_what_still_does_not_read_stays_and_is_not_kept_a_second_time(engine: sa.Engine) -> None:
    broken = messages([6.0])[0]._replace(payload=b"{")
    pipeline(engine).take([broken])

    assert replay_refused(engine, pipeline(engine), wall=lambda: NOW) == Replayed(still_refused=1)

    assert rows(engine, table.c.state) == [("kept",)]


def test_rows_of_files_are_left_to_the_import(engine: sa.Engine) -> None:
    row = Refusal(
        reason="ragged_row", detail="row 3 has 2 cells", remedy="mend it", raw=b"1,2", source="a.csv",
        position="a.csv:3", topic=None, received_at=NOW,
    )
    with database.write(engine) as conn:
        refusals.keep(conn, row)

    assert replay_refused(engine, pipeline(engine), wall=lambda: NOW) == Replayed(rows_of_files=1)


def test_messages_of_edge_nodes_are_left_and_the_command_says_why(
    engine: sa.Engine, database_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The mapping is mended, but a message that carries two changed metrics by alias is no shot by itself."""
    alone = Refusal(
        reason="wrong_type", detail="metric Cushion is 'x', no number", remedy="map another", raw=b"\x08\x01",
        source=SOURCE, position="spBv1.0/hall/DDATA/node/press 7", topic="spBv1.0/hall/DDATA/node/press",
        received_at=NOW,
    )  # fmt: skip
    with database.write(engine) as conn:
        refusals.keep(conn, alone)
    monkeypatch.setenv("EVENRUN_DATABASE_URL", database_url)

    with pytest.raises(SystemExit):
        main(["refused", "--replay"])

    said = capsys.readouterr().out
    assert "Replayed: 0 read now, 0 still do not." in said
    assert "Left alone: 1 of edge nodes, which say only what had changed" in said
    assert rows(engine, table.c.state) == [("kept",)]


def test_the_command_lists_what_was_refused_with_its_remedy(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _only(engine, "P9").take(messages([6.0]))
    monkeypatch.setattr("collector.cli.refused.database.open_existing", lambda _url: engine)

    with pytest.raises(SystemExit) as ended:
        main(["refused"])

    said = capsys.readouterr().out
    [(detail, remedy)] = rows(engine, table.c.detail, table.c.remedy)
    assert ended.value.code == 0
    assert f"{detail}; {remedy}." in said
    assert "unknown_press" in said
