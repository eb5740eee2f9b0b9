"""Who may read where the settings say `signed_in`, and the headers of every answer."""

from __future__ import annotations

import pytest
import streamlit as st

from dashboard.web import guard
from dashboard.web.headers import FORMS_POLICY, PAGES_POLICY
from tests.dashboard.security.conftest import Site

CLOSED = {"type": "websocket.close", "code": guard.POLICY_VIOLATION}


@pytest.fixture
def closed(site: Site, monkeypatch: pytest.MonkeyPatch) -> Site:
    """A floor on which only those who are signed in may read."""
    monkeypatch.setenv("EVENRUN_PEOPLE__READING", "signed_in")
    st.cache_resource.clear()
    return site


def test_reading_is_open_unless_the_settings_say_otherwise(site: Site) -> None:
    assert site.browser().get("/alarms").text == "the floor"
    assert [each["type"] for each in site.browser().websocket([b"x"])] == [
        "websocket.accept",
        "websocket.send",
    ]


@pytest.mark.parametrize(
    "path",
    [
        "/", "/alarms", "/media/x.csv", "/_stcore/upload_file/a/b", "/metrics", "/health",
        "/account/../alarms", "/static/../alarms", "//alarms", "/sign-in/", "/STATIC/x",
        "/_stcore/host-config",
    ],
)  # fmt: skip
def test_nobody_unknown_reads_anything(closed: Site, path: str) -> None:
    answer = closed.browser().get(path)

    assert answer.status == 401
    assert "floor" not in answer.text


def test_a_browser_is_led_to_the_sign_in_and_back_to_its_page(closed: Site) -> None:
    answer = closed.browser().get("/alarms", accept="text/html")

    assert (answer.status, answer.headers["location"]) == (303, "/sign-in?next=alarms")


def test_what_shows_nothing_of_the_floor_stays_open(closed: Site) -> None:
    for path in ("/sign-in", "/code", "/sign-in.css", "/_stcore/health"):
        assert closed.browser().get(path).status == 200


def test_who_is_signed_in_reads(closed: Site) -> None:
    browser = closed.signed_in()

    assert browser.get("/alarms").text == "the floor"
    assert browser.websocket([b"x"])[-1] == {"type": "websocket.send", "bytes": b"x"}


def test_the_live_connection_of_nobody_is_not_opened(closed: Site) -> None:
    assert closed.browser().websocket([b"x"]) == [CLOSED]


def test_the_live_connection_closes_when_its_sign_in_ends(
    closed: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "ASK_AGAIN_S", 0.0)
    browser = closed.signed_in()
    assert CLOSED not in browser.websocket([b"x", b"y"])
    closed.disable("operator 1")

    assert browser.websocket([b"x"]) == [CLOSED]


def test_an_open_live_connection_is_asked_again(closed: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    browser = closed.signed_in()
    answers = iter([True, True, False])
    app = guard.ReadingGuard(closed.app, is_open=lambda: False, knows=lambda _: next(answers))
    monkeypatch.setattr(guard, "ASK_AGAIN_S", 0.0)
    browser.app = app
    came = browser.websocket([b"x", b"y", b"z"])

    assert [each["type"] for each in came] == ["websocket.accept", "websocket.send", "websocket.close"]


@pytest.mark.parametrize("path", ["/", "/alarms", "/sign-in", "/account", "/sign-in.css"])
@pytest.mark.parametrize("scheme", ["http", "https"])
def test_every_answer_has_the_headers(site: Site, path: str, scheme: str) -> None:
    headers = site.browser(scheme=scheme).get(path).headers

    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert ("strict-transport-security" in headers) == (scheme == "https")


def test_the_forms_run_no_script_and_are_not_kept(site: Site) -> None:
    headers = site.browser().get("/sign-in").headers

    assert headers["content-security-policy"] == FORMS_POLICY
    assert "script-src" not in FORMS_POLICY
    assert "default-src 'none'" in FORMS_POLICY
    assert headers["cache-control"] == "no-store"


def test_the_pages_load_nothing_from_another_site() -> None:
    for part in PAGES_POLICY.split("; "):
        _, *sources = part.split(" ")
        assert not [source for source in sources if "://" in source or source in ("*", "http:", "https:")]
