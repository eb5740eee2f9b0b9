"""Finding the run that is meant, and the command that writes its audit."""

from __future__ import annotations

import json
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from collector.cli import main
from collector.errors import UserError
from collector.store import database
from dashboard.audit import find
from tests.dashboard.audit import floor

UTC = ZoneInfo("UTC")


@pytest.fixture
def conn(warm_run):
    with database.read(warm_run) as opened:
        yield opened


def test_name_tray_and_date_lead_to_the_same_run(conn):
    found = {
        find.by_name(conn, floor.RUN),
        find.by_tray(conn, "T26"),
        find.by_date(conn, date(2026, 3, 2), zone=UTC),
    }
    assert len(found) == 1


@pytest.mark.parametrize("ask", [
    lambda conn: find.by_name(conn, "R-none"),
    lambda conn: find.by_name(conn, floor.RUN, press="P9"),
    lambda conn: find.by_tray(conn, "T999"),
    lambda conn: find.by_mark(conn, "no such mark"),
    lambda conn: find.by_date(conn, date(2020, 1, 1), zone=UTC),
])  # fmt: skip
def test_what_fits_no_run_is_one_sentence(conn, ask):
    with pytest.raises(UserError, match="no run is stored for"):
        ask(conn)


def test_two_runs_on_a_day_are_both_named(tmp_path):
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path, run="R-1", first=100, warm=range(0))
    floor.store_run(engine, tmp_path, run="R-2", first=500, warm=range(0), seed=6)
    with database.read(engine) as conn, pytest.raises(UserError, match="R-1 on P2, R-2 on P2"):
        find.by_date(conn, date(2026, 3, 2), zone=UTC)
    engine.dispose()


@pytest.fixture
def at_store(warm_run, tmp_path, monkeypatch):
    monkeypatch.setenv("EVENRUN_DATABASE_URL", warm_run.url.render_as_string())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_command_writes_page_and_figures_twice_the_same(at_store, capsys):
    for name in ("one", "two"):
        with pytest.raises(SystemExit) as ended:
            main(["audit", "--tray", "T26", "--out", f"{name}.html", "--json", f"{name}.json",
                  "--taken-at", "2026-03-06T12:00Z"])  # fmt: skip
        assert ended.value.code == 0
    assert (at_store / "one.html").read_bytes() == (at_store / "two.html").read_bytes()
    assert (at_store / "one.json").read_bytes() == (at_store / "two.json").read_bytes()
    assert json.loads((at_store / "one.json").read_text(encoding="utf-8"))["run"] == floor.RUN
    assert "mold core 3.0 °C warmer" in capsys.readouterr().out


@pytest.mark.parametrize(("words", "sentence"), [
    ([], "in one way"),
    (["R-1", "--tray", "T26"], "in one way"),
    (["--date", "yesterday"], "2026-11-03"),
    (["--tray", "T26", "--taken-at", "noon"], "2026-11-07T12:00Z"),
    (["--tray", "T26", "--leave-out", "R-99"], "there is no run R-99 to leave out"),
    (["--tray", "T26", "--out", "no/such/folder/x.html"], "choose another path"),
])  # fmt: skip
def test_a_wrong_command_line_is_one_sentence(at_store, capsys, words, sentence):
    with pytest.raises(SystemExit) as ended:
        main(["audit", *words])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert sentence in said
    assert said.count("\n") == 1
