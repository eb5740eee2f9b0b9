"""Signing in at an identity provider: the good way, and what a liar at either end can try.

What must hold is OpenID Connect Core 1.0, 3.1.2.7 and 3.1.3.7, RFC 9700 (security of OAuth 2.0) and RFC 8725
(JSON Web Tokens). The provider is one of our own.
"""

from __future__ import annotations

import base64
import hmac
import json
import logging
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import sqlalchemy as sa
import streamlit as st
from joserfc import jwt
from joserfc.jwk import ECKey, OctKey, RSAKey

from collector.actions import own_account
from collector.actions import people as act
from collector.clock import real_clock, wall_now
from collector.people import sign_in
from collector.store import people, tables
from collector.store.database import read
from dashboard.queries import people as queries
from dashboard.web import cookies, flow, provider_routes
from tests.dashboard.security.browser import HOST, Answer, Browser
from tests.dashboard.security.conftest import Site
from tests.dashboard.security.identity_provider import CLIENT, KEY, SECRET, Provider, running

ROLES = {"press crew": ["operator"], "process": ["technician", "quality"]}
LIES: tuple[tuple[dict[str, Any], str], ...] = (
    ({"nonce": "of another sign-in"}, "belongs to another sign-in"),
    ({"nonce": None}, "belongs to another sign-in"),
    ({"aud": "another service"}, "meant for another service"),
    ({"aud": [CLIENT, "another service"]}, "meant for another service"),
    ({"aud": "another service", "azp": CLIENT}, "meant for another service"),
    ({"azp": "another service"}, "meant for another service"),
    ({"iss": "https://elsewhere.example"}, "another issuer"),
    ({"exp": 1_000_000_000}, "it is over"),
    ({"exp": None}, "does not say when it ends"),
    ({"sub": None}, "does not say who you are"),
    ({"sub": "x" * 256}, "does not say who you are"),
    ({"iat": 9_000_000_000}, "its time is not ours"),
    ({"auth_time": None}, "did not ask who you are"),
    ({"auth_time": 1_000_000_000}, "did not ask who you are"),
)


@pytest.fixture
def company(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Provider]:
    """The floor with a provider beside its passwords."""
    (tmp_path / "secret").write_text(f"{SECRET}\n")
    with running(f"https://{HOST}/sign-in/provider/back") as provider:
        for name, value in {
            "ISSUER": provider.issuer, "CLIENT_ID": CLIENT, "SCREENS_URL": f"https://{HOST}",
            "CLIENT_SECRET_FILE": str(tmp_path / "secret"), "ROLES": json.dumps(ROLES),
        }.items():  # fmt: skip
            monkeypatch.setenv(f"EVENRUN_PEOPLE__OIDC__{name}", value)
        st.cache_resource.clear()
        yield provider


@pytest.fixture
def browser(site: Site) -> Browser:
    return site.browser(scheme="https")


def sent_there(browser: Browser, wanted: str = "") -> str:
    answer = browser.get(f"/sign-in/provider?next={wanted}")
    assert answer.status == 303, answer.text
    return answer.headers["location"]


def through(browser: Browser, provider: Provider, wanted: str = "") -> Answer:
    return browser.get(provider.signs_in(sent_there(browser, wanted)))


def is_in(browser: Browser) -> bool:
    return browser.get("/account").status == 200


def names(site: Site) -> list[str]:
    with read(site.engine) as conn:
        return [each.name for each in people.all_accounts(conn)]


def test_a_person_with_a_role_comes_in_and_has_an_account(
    site: Site, company: Provider, browser: Browser
) -> None:
    assert "Sign in with the company account" in browser.get("/sign-in?next=alarms").text
    asked = parse_qs(urlsplit(sent_there(browser, "alarms")).query)
    assert (asked["scope"], asked["prompt"], asked["max_age"]) == (["openid profile"], ["login"], ["600"])

    answer = through(browser, company, "alarms")
    assert (answer.status, answer.headers["location"]) == (303, "/alarms")
    assert answer.headers["cache-control"] == "no-store"
    assert cookies.OVER_TLS in browser.cookies
    assert flow.OVER_TLS not in browser.cookies
    assert "Signed in as Ash Larch: operator." in browser.get("/account").text
    with read(site.engine) as conn:
        written = conn.execute(sa.select(tables.journal.c.who, tables.journal.c.action)).all()
        account = people.account(conn, "Ash Larch")
    assert ("service", "account added by provider") in [tuple(row) for row in written]
    assert account is not None
    assert account.password_hash is None


def test_the_cookie_on_the_way_is_for_the_server_alone(company: Provider, browser: Browser) -> None:
    (line,) = browser.get("/sign-in/provider").set_cookies
    flags = {part.strip().lower() for part in line.split(";")[1:]}

    assert line.startswith("__Host-evenrun_provider=")
    assert {"httponly", "samesite=lax", "path=/", "secure", "max-age=600"} <= flags


def test_each_sign_in_has_its_own_state_nonce_and_challenge(company: Provider, browser: Browser) -> None:
    first, second = (parse_qs(urlsplit(sent_there(browser)).query) for _ in range(2))

    for name in ("state", "nonce", "code_challenge"):
        assert first[name] != second[name]
        assert len(first[name][0]) >= 43  # 256 bits
    assert len({first["state"][0], first["nonce"][0], first["code_challenge"][0]}) == 3


def test_a_token_that_lies_signs_nobody_in(site: Site, company: Provider, browser: Browser) -> None:
    before = names(site)
    for claims, words in LIES:
        company.claims = claims
        answer = through(browser, company)
        assert (answer.status, words in answer.text) == (403, True), (claims, answer.text)
        assert not is_in(browser)
    assert names(site) == before


def token_of(header: dict[str, Any], claims: dict[str, Any], secret: bytes | None) -> str:
    """A token by hand, since no library makes such ones; without a secret it has no signature."""
    parts = (json.dumps(each).encode() for each in (header, claims))
    text = ".".join(base64.urlsafe_b64encode(each).rstrip(b"=").decode() for each in parts)
    signature = b"" if secret is None else hmac.digest(secret, text.encode(), "sha256")
    return f"{text}.{base64.urlsafe_b64encode(signature).rstrip(b'=').decode()}"


def unsigned(claims: dict[str, Any]) -> str:
    return token_of({"alg": "none", "typ": "JWT"}, claims, None)


def unsigned_with_a_key(claims: dict[str, Any]) -> str:
    return token_of({"alg": "None", "kid": "key 1"}, claims, None)


def with_public_key_as_secret(claims: dict[str, Any]) -> str:
    return token_of({"alg": "HS256", "kid": "key 1"}, claims, KEY.as_pem(private=False))


def with_client_secret(claims: dict[str, Any]) -> str:
    return token_of({"alg": "HS256"}, claims, SECRET.encode())


def by_another_key(claims: dict[str, Any]) -> str:
    return jwt.encode({"alg": "RS256", "kid": "key 1"}, claims, RSAKey.generate_key(2048))


def with_its_key_in_it(claims: dict[str, Any]) -> str:
    own = RSAKey.generate_key(2048)
    return jwt.encode({"alg": "RS256", "jwk": own.as_dict(private=False)}, claims, own)


def changed_afterwards(claims: dict[str, Any]) -> str:
    head, _, signature = jwt.encode({"alg": "RS256", "kid": "key 1"}, claims, KEY).split(".")
    other = json.dumps(claims | {"groups": ["process"]}).encode()
    return ".".join((head, base64.urlsafe_b64encode(other).rstrip(b"=").decode(), signature))


def without_signature(claims: dict[str, Any]) -> str:
    return jwt.encode({"alg": "RS256", "kid": "key 1"}, claims, KEY).rpartition(".")[0] + "."


def no_token(_: dict[str, Any]) -> str:
    return "no token at all"


def test_a_token_that_is_not_signed_by_the_provider_signs_nobody_in(
    site: Site, company: Provider, browser: Browser
) -> None:
    before = names(site)
    for sign in (
        unsigned, unsigned_with_a_key, with_public_key_as_secret, with_client_secret, by_another_key,
        with_its_key_in_it, changed_afterwards, without_signature, no_token,
    ):  # fmt: skip
        company.sign = sign
        answer = through(browser, company)
        assert (answer.status, "not signed as it must be" in answer.text) == (403, True), sign
        assert not is_in(browser)
    assert names(site) == before


def test_keys_may_change_from_one_sign_in_to_the_next(company: Provider, browser: Browser) -> None:
    through(browser, company)
    new = ECKey.generate_key("P-256", {"kid": "key 2", "use": "sig"})
    signs = RSAKey.generate_key(2048)
    other = {**signs.as_dict(private=False), "kid": "key 3", "use": "enc"}
    company.keys = [{"kty": "unheard of"}, other, new.as_dict(private=False)]
    assert through(browser, company).status == 403  # signed with the key of before

    company.sign = lambda claims: jwt.encode({"alg": "ES256", "kid": "key 2"}, claims, new)
    assert through(browser, company).status == 303
    company.sign = lambda claims: jwt.encode({"alg": "RS256", "kid": "key 3"}, claims, signs)
    assert through(browser, company).status == 403  # a key for something else


def test_a_shared_secret_among_the_keys_is_none(company: Provider, browser: Browser) -> None:
    """A provider that publishes a symmetric key must not make everybody a signer."""
    shared = OctKey.generate_key(256, {"kid": "shared", "use": "sig"})
    company.keys = [shared.as_dict(private=True), *company.keys]
    company.sign = lambda claims: jwt.encode({"alg": "HS256", "kid": "shared"}, claims, shared)
    assert through(browser, company).status == 403

    company.keys = [shared.as_dict(private=True)]
    assert "shows no key" in through(browser, company).text


def test_a_state_is_used_once(company: Provider, browser: Browser) -> None:
    """Even with the cookie of before and a code that is still good."""
    location = sent_there(browser)
    kept = dict(browser.cookies)
    assert browser.get(company.signs_in(location)).status == 303

    browser.cookies = kept
    asked = len(company.asked)
    answer = browser.get(company.signs_in(location))
    assert (answer.status, "was used already" in answer.text) == (403, True)
    assert len(company.asked) == asked  # the code went nowhere
    assert not is_in(browser)


def test_another_browser_cannot_end_what_this_one_began(
    site: Site, company: Provider, browser: Browser
) -> None:
    """Nor can somebody be signed in as somebody else by a link (RFC 9700, 4.7)."""
    attacker = site.browser(scheme="https")
    back = company.signs_in(sent_there(attacker))
    for victim in (browser, site.browser(scheme="https")):
        answer = victim.get(back)
        assert (answer.status, "not begun in this browser" in answer.text) == (403, True)
        assert not is_in(victim)
        sent_there(victim)  # one of its own under way makes no difference
        assert "not begun in this browser" in victim.get(back).text


def test_a_stolen_code_is_worth_nothing_in_another_sign_in(
    site: Site, company: Provider, browser: Browser
) -> None:
    """What PKCE is for: the code belongs to the browser that asked for it (RFC 9700, 4.5)."""
    stolen = parse_qs(urlsplit(company.signs_in(sent_there(browser))).query)["code"][0]
    attacker = site.browser(scheme="https")
    state = parse_qs(urlsplit(sent_there(attacker)).query)["state"][0]
    answer = attacker.get(f"/sign-in/provider/back?code={stolen}&state={state}")

    assert (answer.status, "does not take this sign-in" in answer.text) == (403, True)
    assert not is_in(attacker)


@pytest.mark.parametrize("change", ["x{}", "{}x", "", "a.b.c.d", "....", "{}."])
def test_a_made_up_cookie_of_a_sign_in_under_way_is_none(
    company: Provider, browser: Browser, change: str
) -> None:
    back = company.signs_in(sent_there(browser, "alarms"))
    browser.cookies[flow.OVER_TLS] = change.format(browser.cookies[flow.OVER_TLS])

    assert browser.get(back).status == 403
    assert not is_in(browser)


def test_who_comes_back_too_late_begins_again(
    company: Provider, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    back = company.signs_in(sent_there(browser))
    monkeypatch.setattr(provider_routes, "wall_now", lambda: wall_now() + flow.LASTS)

    assert "not begun in this browser, or is over" in browser.get(back).text
    assert not is_in(browser)


def test_an_answer_of_another_provider_is_refused(company: Provider, browser: Browser) -> None:
    back = company.signs_in(sent_there(browser))

    assert "another identity provider" in browser.get(f"{back}&iss=https://elsewhere.example").text
    assert not is_in(browser)


@pytest.mark.parametrize(
    "wanted", ["//elsewhere.example", "https://elsewhere.example", "/%5Celsewhere.example", "alarms%0d%0aa:b"]
)
def test_nobody_is_sent_elsewhere_afterwards(company: Provider, browser: Browser, wanted: str) -> None:
    assert through(browser, company, wanted).headers["location"] == "/"


def test_who_refuses_there_or_comes_without_a_code_is_told(company: Provider, browser: Browser) -> None:
    state = parse_qs(urlsplit(sent_there(browser)).query)["state"][0]
    denied = "error=access_denied&error_description=%3Cscript%3Esay%20this"
    answer = browser.get(f"/sign-in/provider/back?{denied}&state={state}")

    assert (answer.status, "did not sign you in" in answer.text) == (403, True)
    assert "say this" not in answer.text


def test_a_provider_that_is_away_is_a_sentence_and_passwords_work_on(
    site: Site, company: Provider, browser: Browser
) -> None:
    discovery, html = "/.well-known/openid-configuration", b"<html>secret words</html>"
    back = company.signs_in(sent_there(browser))
    for path in (discovery, "/token", "/keys"):
        for said in (
            (500, b"{}"),
            (200, html),
            (200, b"[]"),
            (302, b"https://elsewhere.example/"),
            (404, b"{}"),
        ):
            company.broken = {path: said}
            where = browser.get("/sign-in/provider") if path == discovery else browser.get(back)
            assert where.status == 503, (path, said, where.text)
            assert "Traceback" not in where.text + str(where.headers)
            assert "secret words" not in where.text
            company.broken = {}
            back = company.signs_in(sent_there(browser))
    assert site.signed_in(scheme="https").get("/account").status == 200


def test_a_provider_that_cannot_be_reached_is_a_sentence(
    company: Provider, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__OIDC__ISSUER", "http://127.0.0.1:9")  # discard: nobody listens
    st.cache_resource.clear()
    answer = browser.get("/sign-in/provider")

    assert (answer.status, "cannot be reached" in answer.text) == (503, True)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"issuer": "https://elsewhere.example"}, "names itself otherwise"),
        ({"token_endpoint": "http://elsewhere.example/token"}, "token_endpoint"),
        ({"authorization_endpoint": "javascript:alert(1)"}, "authorization_endpoint"),
        ({"jwks_uri": None}, "jwks_uri"),
    ],
)
def test_a_discovery_document_that_leads_astray_is_refused(
    company: Provider, browser: Browser, said: dict[str, Any], words: str
) -> None:
    company.discovery = said
    answer = browser.get("/sign-in/provider")

    assert (answer.status, words in answer.text) == (503, True)


def test_the_client_secret_is_in_no_log_and_no_answer(
    company: Provider, browser: Browser, tmp_path: Path, caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    caplog.set_level(logging.DEBUG)
    back = company.signs_in(sent_there(browser))
    browser.get(back)
    (tmp_path / "secret").write_text("another secret")
    answer = through(browser, company)
    assert (answer.status, "(invalid_client)" in answer.text) == (503, True)
    assert "no such secret" not in answer.text
    (tmp_path / "secret").write_text("")
    assert "is empty" in browser.get("/sign-in/provider").text
    (tmp_path / "secret").unlink()
    assert "cannot be read" in browser.get("/sign-in/provider").text

    out, err = capfd.readouterr()
    for secret in (SECRET, "another secret", parse_qs(urlsplit(back).query)["code"][0]):
        assert secret not in caplog.text + out + err + answer.text


def test_a_provider_that_wants_the_secret_in_the_body_gets_it_there(
    company: Provider, browser: Browser
) -> None:
    company.discovery = {"token_endpoint_auth_methods_supported": ["client_secret_post"]}

    assert through(browser, company).status == 303


def test_who_has_no_role_is_refused_and_made_nothing_of(
    site: Site, company: Provider, browser: Browser
) -> None:
    before = names(site)
    for groups in ([], ["canteen"], None, "canteen", {"press crew": 1}, [["press crew"]]):
        company.groups = groups
        answer = through(browser, company)
        assert (answer.status, "Ash Larch has no role here" in answer.text) == (403, True)
    assert names(site) == before


@pytest.mark.parametrize("name", [None, "", 7, "<b>x</b>", "service", "x" * 61])
def test_a_name_that_the_journal_cannot_write_is_refused(
    company: Provider, browser: Browser, name: object
) -> None:
    company.claims = {"name": name}
    answer = through(browser, company)

    assert answer.status == 403
    assert "<b>x" not in answer.text
    assert not is_in(browser)


def test_roles_follow_the_groups_and_are_gone_with_them(
    site: Site, company: Provider, browser: Browser
) -> None:
    through(browser, company)
    company.groups = ["process", "canteen"]
    through(browser, company)
    assert "Signed in as Ash Larch: technician, quality." in browser.get("/account").text

    company.groups = []
    other = site.browser(scheme="https")
    assert through(other, company).status == 403
    assert not is_in(other)
    assert not is_in(browser)  # where they were signed in before, too


def test_a_disabled_account_is_refused(site: Site, company: Provider, browser: Browser) -> None:
    through(browser, company)
    site.disable("Ash Larch")
    assert not is_in(browser)
    answer = through(browser, company)

    assert (answer.status, "is disabled" in answer.text) == (403, True)
    assert not is_in(browser)


def test_the_name_of_somebody_here_takes_over_nothing(
    site: Site, company: Provider, browser: Browser
) -> None:
    """Names are no proof (OpenID Connect Core 1.0, 5.7); the terminal links an account with a subject."""
    company.name = "Admin 1"
    answer = through(browser, company)
    assert (answer.status, "people link" in answer.text) == (403, True)
    assert not is_in(browser)

    act.link(
        site.engine, "admin 1", issuer=company.issuer, subject=company.subject, who=site.terminal(),
        clock=real_clock(),
    )  # fmt: skip
    assert through(browser, company).status == 303
    assert "Signed in as admin 1: operator." in browser.get("/account").text


def test_the_subject_is_the_person_whatever_the_name(site: Site, company: Provider, browser: Browser) -> None:
    through(browser, company)
    company.name = "Ash Birch"  # married
    through(browser, company)
    assert "Signed in as Ash Larch" in browser.get("/account").text

    company.subject = "another person"
    company.name = "Ash Larch"
    assert through(site.browser(scheme="https"), company).status == 403


def test_signing_in_makes_a_new_session_and_ends_the_one_before(
    site: Site, company: Provider, browser: Browser
) -> None:
    through(browser, company)
    old = site.browser(scheme="https")
    old.cookies = dict(browser.cookies)
    through(browser, company)

    assert is_in(browser)
    assert not is_in(old)


def test_signing_out_ends_it_and_the_next_one_is_asked_again(
    site: Site, company: Provider, browser: Browser
) -> None:
    through(browser, company)
    kept = dict(browser.cookies)
    assert browser.send("/sign-out").status == 303
    thief = site.browser(scheme="https")
    thief.cookies = kept

    assert not is_in(thief)
    assert "prompt=login" in sent_there(browser)


def test_a_pin_is_chosen_right_after_the_provider_asked(
    site: Site, company: Provider, browser: Browser
) -> None:
    through(browser, company)
    assert 'name="current"' not in browser.get("/account").text
    assert "among the first" in browser.send("/account", pin="1234").text
    assert browser.send("/account", pin="4907").status == 200

    person = sign_in.by_pin(
        site.engine, "Ash Larch", "4907", address="t", wall=wall_now(), lasts=timedelta(minutes=5)
    )
    with pytest.raises(act.NotAllowed, match="at the identity provider again"):
        own_account.choose_pin(site.engine, "7094", who=person, clock=real_clock())


def test_a_pin_is_not_chosen_at_a_browser_that_was_left(
    company: Provider, browser: Browser, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    through(browser, company)
    monkeypatch.setattr(own_account, "FRESH", timedelta(0))
    assert "within five minutes" in browser.send("/account", pin="4907").text

    monkeypatch.undo()
    with_password = site.signed_in(scheme="https")
    token = cookies.token_in(with_password.cookies, queries.signing_key())
    found = queries.whose(token)
    assert found is not None
    with pytest.raises(act.NotAllowed, match="current password"):
        own_account.choose_pin(site.engine, "4907", who=found[0], clock=real_clock())


def test_where_the_provider_need_not_ask_again_its_word_makes_no_pin(
    company: Provider, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__OIDC__ASK_AGAIN", "false")
    st.cache_resource.clear()
    assert "prompt=" not in sent_there(browser)
    company.claims = {"auth_time": None}
    assert through(browser, company).status == 303

    assert "let an admin give you a code" in browser.send("/account", pin="4907").text


def test_at_another_address_than_the_provider_knows_one_is_told(company: Provider, site: Site) -> None:
    answer = site.browser(scheme="http").get("/sign-in/provider")

    assert (answer.status, f"https://{HOST}" in answer.text) == (403, True)


def test_where_reading_needs_a_sign_in_the_provider_is_reached(
    company: Provider, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__READING", "signed_in")
    st.cache_resource.clear()
    assert browser.get("/alarms").status == 401
    through(browser, company)

    assert browser.get("/alarms").text == "the floor"


def test_without_a_provider_there_is_no_way_to_one(site: Site) -> None:
    browser = site.browser(scheme="https")

    assert "/sign-in/provider" not in browser.get("/sign-in").text
    for path in ("/sign-in/provider", "/sign-in/provider/back?code=a&state=b"):
        assert "no identity provider here" in browser.get(path).text
