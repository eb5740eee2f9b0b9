"""Signing in while the store is locked, or is none: a sentence with the remedy, never a stack."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import dashboard
from collector.store import database
from tests.dashboard.security.conftest import GOOD, Site

LOCKED = "is locked by another process; close what holds it"


@pytest.fixture
def locked(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Screens that start while something else holds the database, as a back-up or an SQL shell does."""
    monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 50)
    assert site.browser().get("/sign-in").status == 200  # they ran before, so the key of the cookies is there
    st.cache_resource.clear()
    holder = sqlite3.connect(tmp_path / "evenrun.db", isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    yield site
    holder.close()


def test_the_form_is_there_and_says_what_to_close(locked: Site) -> None:
    browser = locked.browser()
    assert browser.get("/sign-in").status == 200
    answer = browser.send("/sign-in", name="operator 1", password=GOOD)
    assert answer.status == 503
    assert LOCKED in answer.text


def test_whoever_is_signed_in_stays_so_and_is_told_why_nothing_was_changed(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 50)
    st.cache_resource.clear()
    browser = site.signed_in()
    holder = sqlite3.connect(tmp_path / "evenrun.db", isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    assert "Signed in as operator 1" in browser.get("/account").text
    answer = browser.send("/account", current=GOOD, password="four other plain words")
    holder.close()
    assert (answer.status, LOCKED in answer.text) == (503, True)
    assert browser.get("/account").status == 200


@pytest.fixture
def no_database(site: Site, tmp_path: Path) -> Site:
    """A file that is no database, where the store should be."""
    site.engine.dispose()
    for each in tmp_path.glob("evenrun.db*"):
        each.unlink()
    (tmp_path / "evenrun.db").write_bytes(b"no database at all\n" * 400)
    st.cache_resource.clear()
    return site


@pytest.mark.parametrize("sign_in", ["accounts", "names"])
@pytest.mark.parametrize("path", ["/sign-in", "/account", "/code"])
def test_a_file_that_is_no_database_is_said(
    no_database: Site, monkeypatch: pytest.MonkeyPatch, path: str, sign_in: str
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", sign_in)
    answer = no_database.browser().get(path)
    assert answer.status == 503
    assert "is not a database; point database_url at another file" in answer.text


def test_the_pages_say_it_too(no_database: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(Path(dashboard.__file__).parent)
    at = AppTest.from_file(str(Path(dashboard.__file__).parent / "app.py"), default_timeout=30).run()
    assert not at.exception  # the wall draws it
    at.switch_page("app_pages/alarms.py").run()
    assert not at.exception
    assert at.warning[0].value.startswith("This page shows nothing now; reload it to try again: the database")
    assert "is not a database" in at.warning[0].value
