"""What somebody on the shop's network, or a page of another site, can try at the addresses for signing in."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa

from collector.clock import wall_now
from collector.errors import NotAllowed, StoreUnavailable
from collector.people import sign_in
from collector.people.person import Person
from collector.store import journal, tables
from collector.store.database import read, write
from dashboard import server
from dashboard.cli import server_command
from dashboard.queries import people as queries
from dashboard.web import cookies, sign_in_routes
from tests.dashboard.security.browser import HOST
from tests.dashboard.security.conftest import GOOD, Site

HOSTILE = ("https://elsewhere.example", "null", "", f"http://{HOST}.elsewhere.example", f"http://{HOST}:81")


def test_signing_in_leads_back_to_the_page_and_sets_one_cookie(site: Site) -> None:
    browser = site.browser()
    answer = browser.send("/sign-in?next=alarms", name="operator 1", password=GOOD)

    assert answer.status == 303
    assert answer.headers["location"] == "/"
    assert [line.partition("=")[0] for line in answer.set_cookies] == [cookies.PLAIN]


def test_the_cookie_is_for_the_server_alone(site: Site) -> None:
    """Scripts do not see it, other sites do not send it, and it ends with the browser (RFC 6265bis)."""
    plain = site.browser().send("/sign-in", name="operator 1", password=GOOD).set_cookies[0]
    tls = site.browser(scheme="https").send("/sign-in", name="operator 1", password=GOOD).set_cookies[0]

    for line in (plain, tls):
        flags = {part.strip().lower() for part in line.split(";")[1:]}
        assert {"httponly", "samesite=lax", "path=/"} <= flags
        assert not any(flag.startswith(("max-age", "expires", "domain")) for flag in flags)
    assert "Secure" in tls
    assert tls.startswith("__Host-")


@pytest.mark.parametrize("changed", ["x{}", "{}x", "", "a.b", "{}.{}"])
def test_a_made_up_cookie_never_reaches_the_store(site: Site, changed: str) -> None:
    browser = site.signed_in()
    browser.cookies[cookies.PLAIN] = changed.format(*[browser.cookies[cookies.PLAIN]] * 2)

    assert cookies.token_in(browser.cookies, queries.signing_key()) is None
    assert browser.get("/account").headers["location"] == "/sign-in"


def test_a_token_from_before_signing_in_is_not_taken_over_and_the_old_sign_in_ends(site: Site) -> None:
    """Session fixation: whatever the browser held before, it holds something new afterwards."""
    browser = site.signed_in()
    before = browser.cookies[cookies.PLAIN]
    browser.send("/sign-in", name="operator 1", password=GOOD)

    assert browser.cookies[cookies.PLAIN] != before
    other = site.browser()
    other.cookies[cookies.PLAIN] = before
    assert other.get("/account").status == 303


def test_signing_out_ends_it_in_the_store_too(site: Site) -> None:
    browser = site.signed_in()
    kept = dict(browser.cookies)
    assert browser.send("/sign-out").status == 303
    assert cookies.PLAIN not in browser.cookies

    thief = site.browser()
    thief.cookies = kept
    assert thief.get("/account").status == 303


def test_a_sign_in_from_before_tls_is_nobody_s_after_signing_out(site: Site) -> None:
    """Left in the browser, or put there by who can answer for the site without TLS."""
    browser = site.browser(scheme="https")
    browser.cookies[cookies.PLAIN] = site.signed_in("admin 1").cookies[cookies.PLAIN]
    browser.send("/sign-in", name="operator 1", password=GOOD)
    assert set(browser.cookies) & {cookies.PLAIN, cookies.OVER_TLS} == {cookies.OVER_TLS}

    browser.cookies[cookies.PLAIN] = site.signed_in("admin 1").cookies[cookies.PLAIN]
    browser.send("/sign-out")
    assert browser.get("/account").headers["location"] == "/sign-in"


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/account", "/code"])
@pytest.mark.parametrize("origin", HOSTILE)
def test_a_form_that_another_site_sends_is_refused(site: Site, path: str, origin: str) -> None:
    browser = site.signed_in()
    token = cookies.form_token(browser.cookies["evenrun_form"], queries.signing_key())
    fields = {"form": token, "name": "operator 1", "password": GOOD, "current": GOOD}
    answer = browser.post(path, fields, origin=origin)

    assert answer.status == 403
    assert "did not come from this site" in answer.text
    assert browser.get("/account").status == 200


@pytest.mark.parametrize("token", ["", "0" * 64, "another browser"])
def test_a_form_without_the_token_of_this_browser_is_refused(site: Site, token: str) -> None:
    if token == "another browser":
        token = cookies.form_token("of somebody else", queries.signing_key())
    browser = site.signed_in()
    answer = browser.post("/sign-out", {"form": token})

    assert answer.status == 403
    assert browser.get("/account").status == 200


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE"])
def test_signing_out_is_no_link(site: Site, method: str) -> None:
    browser = site.signed_in()
    answer = browser._ask(method, "/sign-out", b"", {})

    assert answer.status in (200, 405)  # the page behind, or not allowed
    assert browser.get("/account").status == 200


@pytest.mark.parametrize(
    "wanted",
    [
        "//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "javascript:alert(1)",
        "alarms/../../x", "%2f%2felsewhere.example", "alarms\r\nSet-Cookie: a=b", "floor", "no-page", "",
    ],
)  # fmt: skip
def test_after_signing_in_nobody_is_sent_elsewhere(site: Site, wanted: str) -> None:
    assert sign_in_routes.back(wanted) == "/"
    browser = site.browser()
    browser.get("/sign-in")
    token = cookies.form_token(browser.cookies["evenrun_form"], queries.signing_key())
    answer = browser.post("/sign-in", {"form": token, "name": "operator 1", "password": GOOD, "next": wanted})

    assert answer.headers["location"] == "/"


def test_after_signing_in_the_page_that_was_wanted_comes(site: Site) -> None:
    browser = site.browser()
    browser.get("/sign-in")
    token = cookies.form_token(browser.cookies["evenrun_form"], queries.signing_key())
    fields = {"form": token, "name": "operator 1", "password": GOOD, "next": "alarms"}

    assert browser.post("/sign-in", fields).headers["location"] == "/alarms"


def test_guessing_passwords_over_http_is_shut_out(site: Site) -> None:
    browser = site.browser(address="10.0.0.66")
    said = [browser.send("/sign-in", name="operator 1", password=f"wrong {n}") for n in range(6)]

    assert {answer.status for answer in said} == {403}
    assert "do not fit together" in said[4].text
    left = ["4 more tries are left", "3 more tries are left", "2 more tries are left", "one more try is left"]
    for words, answer in zip([*left, "too many wrong attempts; try again in 15 minutes"], said, strict=False):
        assert words in answer.text  # the fifth says itself that no sixth is looked at
    assert "Too many wrong attempts" in said[5].text
    assert "Too many wrong attempts" in browser.send("/sign-in", name="operator 1", password=GOOD).text


def test_what_was_typed_never_comes_back(site: Site) -> None:
    text = site.browser().send("/sign-in", name="<script>alert(1)</script>", password="no good at all").text
    code = (
        site.browser()
        .send("/code", name='"><script>alert(1)</script>', code="x", password="no good here")
        .text
    )

    assert "no good" not in text + code
    assert "<script>" not in text + code
    assert "&lt;script&gt;" in code


def test_markup_in_a_name_stays_text(site: Site) -> None:
    """No account can have such a name; a page must not trust that."""
    with write(site.engine) as conn:
        conn.execute(
            sa.update(tables.accounts).where(tables.accounts.c.name == "operator 1")
            .values(name="<img src=x onerror=alert(1)>", name_key="<img src=x onerror=alert(1)>")
        )  # fmt: skip
    browser = site.browser()
    browser.send("/sign-in", name="<img src=x onerror=alert(1)>", password=GOOD)
    text = browser.get("/account").text

    assert "Signed in as &lt;img src=x onerror=alert(1)&gt;" in text
    assert "<img" not in text


def test_who_is_removed_while_signed_in_is_out(site: Site) -> None:
    browser = site.signed_in()
    token = cookies.token_in(browser.cookies, queries.signing_key())
    assert token is not None
    site.disable("operator 1")

    assert browser.get("/account").headers["location"] == "/sign-in"
    now, who = wall_now(), Person("operator 1", token)
    with write(site.engine) as conn, pytest.raises(NotAllowed, match="the account was disabled"):
        journal.append(conn, at=now, wall_at=now, who=who, action="alarm acknowledge", subject="alarm 1")


def test_changing_one_s_password_needs_the_current_one_and_signs_out(site: Site) -> None:
    browser = site.signed_in()
    assert "do not fit" in browser.send("/account", current="wrong", password="four other plain words").text
    done = browser.send("/account", current=GOOD, password="four other plain words", pin="")

    assert done.status == 200
    assert cookies.PLAIN not in browser.cookies
    assert site.browser().send("/sign-in", name="operator 1", password=GOOD).status == 403


def test_whoever_changes_the_password_keeps_the_pin_as_the_form_says(site: Site) -> None:
    browser = site.signed_in()
    assert "leave it empty to keep what you have" in browser.get("/account").text
    assert browser.send("/account", current=GOOD, password="four other plain words", pin="").status == 200
    who = sign_in.by_pin(
        site.engine, "operator 1", "4907", address="t", wall=wall_now(), lasts=timedelta(minutes=5)
    )
    assert who == "operator 1"


@pytest.mark.parametrize("body", [b"form=" + b"x" * 9_000, b"a=1&" * 50, b"\xff\xfe", b"{}"])
def test_a_form_that_is_too_large_or_none_ends_in_a_sentence(site: Site, body: bytes) -> None:
    answer = site.signed_in()._ask("POST", "/sign-in", body, {"origin": f"http://{HOST}"})

    assert answer.status == 403
    assert re.search(r'role="alert".*reload the page', answer.text)


def test_while_the_store_is_away_a_sentence_comes_and_no_stack(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object) -> None:
        raise StoreUnavailable("the database cannot be reached; nothing was changed")

    browser = site.signed_in()
    monkeypatch.setattr(queries, "whose", away)
    answer = browser.get("/account")

    assert answer.status == 503
    assert "The database cannot be reached" in answer.text
    assert "Traceback" not in answer.text
    assert not server.knows(browser.cookies)


def test_a_mistake_of_ours_shows_no_stack(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a mistake with a secret in it")

    monkeypatch.setattr(queries, "whose", broken)
    answer = site.browser().get("/account")

    assert (answer.status, answer.text) == (500, "Internal Server Error")
    # The pages' own errors: Streamlit names the kind of error and nothing else.
    assert "--client.showErrorDetails=type" in server_command("localhost", 1)


def test_without_accounts_there_is_nothing_to_sign_in_to(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(queries, "are_accounts", lambda: False)
    for path in ("/sign-in", "/account", "/code"):
        assert site.browser().get(path).headers["location"] == "/"


def test_the_store_holds_no_secret_in_the_clear(site: Site) -> None:
    browser = site.signed_in()
    token = cookies.token_in(browser.cookies, queries.signing_key())
    assert token is not None
    with read(site.engine) as conn:
        text = str([
            [tuple(row) for row in conn.execute(sa.select(table))]
            for table in (tables.accounts, tables.sign_ins, tables.sign_in_codes, tables.sign_in_attempts)
        ])  # fmt: skip
    assert GOOD not in text
    assert token not in text
