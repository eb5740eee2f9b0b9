"""The run audit page: which runs it lists, and what it shows of one."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.store import database, tables
from dashboard.blocks import run_words
from dashboard.queries import database as screens
from dashboard.queries import runs as queries

PAGE = "../../dashboard/app_pages/run_audit.py"


@pytest.fixture
def page(six_presses):
    return AppTest.from_file(PAGE, default_timeout=30).run()


def lines(store):
    with database.read(store) as conn:
        return queries.newest(conn)


def test_runs_are_listed_newest_first_with_alarms_and_held_discs(six_presses, page):
    assert not page.exception
    options = page.selectbox(key="run_audit_run").options
    found = lines(six_presses)
    assert len(options) == len(found) == 6
    assert [each.opened_at for each in found] == sorted((each.opened_at for each in found), reverse=True)
    drifting = next(option for option in options if option.startswith("R-0413"))
    assert "P2 \u00b7 Larch 5" in drifting
    assert "1 alarm" in drifting
    assert "47 discs held, 47 still" in drifting


def test_choosing_a_run_shows_its_document(page):
    chosen = page.selectbox(key="run_audit_run")
    drifting = next(option for option in chosen.options if option.startswith("R-0413"))
    page = chosen.select_index(chosen.options.index(drifting)).run()
    assert not page.exception
    document = page.get("iframe")[0].proto
    assert "R-0413 on P2, Larch 5" in document.srcdoc
    assert [each.proto.label for each in page.get("download_button")] == ["HTML", "JSON"]


def test_the_address_may_name_the_run(six_presses):
    app = AppTest.from_file(PAGE, default_timeout=30)
    app.query_params["run"] = "R-0409"
    page = app.run()
    chosen = page.selectbox(key="run_audit_run")
    assert chosen.options[chosen.index].startswith("R-0409")


def test_a_run_in_the_archive_says_how_it_comes_back(six_presses):
    with database.write(six_presses) as conn:
        c = tables.runs.c
        named = sa.update(tables.runs).where(c.name == "R-0405").values(name="R 4'5").returning(c.id)
        run_id = conn.execute(named).scalar_one()
        conn.execute(
            sa.insert(tables.archives).values(
                run_id=run_id, file_name="x.parquet", file_digest=bytes(32), shots=1, last_shot_id=1,
                at=screens.clock().now(), who="quality 1",
            )
        )
    app = AppTest.from_file(PAGE, default_timeout=30)
    app.query_params["run"] = "R 4'5"
    page = app.run()
    assert not page.exception
    chosen = page.selectbox(key="run_audit_run")
    assert "in the archive" in chosen.options[chosen.index]
    assert "values of this run are in the archive" in page.markdown[0].value
    assert page.code[0].value == """evenrun archive --restore 'R 4'"'"'5'"""
    assert not page.get("iframe")


def test_an_empty_store_is_said_to_be_empty(store):
    page = AppTest.from_file(PAGE, default_timeout=30).run()
    assert not page.exception
    assert "nothing to audit" in page.markdown[0].value


def test_new_evidence_changes_the_fingerprint(two_presses):
    run = lines(two_presses)[0]
    with database.read(two_presses) as conn:
        before = queries.fingerprint(conn, run.id)
    with two_presses.begin() as conn:
        conn.execute(
            sa.update(tables.runs).where(tables.runs.c.id == run.id).values(closed_at=screens.clock().now())
        )
    with database.read(two_presses) as conn:
        assert queries.fingerprint(conn, run.id) != before


def test_the_square_stands_only_while_discs_wait(two_presses):
    waiting = next(each for each in lines(two_presses) if each.waiting)
    steady = next(each for each in lines(two_presses) if not each.held)
    assert 'class="hold"' in run_words.in_short(waiting)
    assert 'class="signal"' in run_words.in_short(waiting)
    assert "<i" not in run_words.in_short(steady)
