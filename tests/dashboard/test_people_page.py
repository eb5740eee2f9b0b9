"""The People page, and how every page knows who acts where there are accounts."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace

import argon2
import pytest
import sqlalchemy as sa
import streamlit as st
from streamlit.testing.v1 import AppTest

from collector.actions import alarms as act_alarms
from collector.actions import people as act
from collector.clock import real_clock, wall_now
from collector.people import codes, secret, sign_in
from collector.people.roles import ACTS
from collector.store import people
from collector.store.database import read, write
from dashboard.blocks import signed_in
from dashboard.blocks.act_words import ACT_WORDS
from dashboard.queries import people as queries
from dashboard.web import cookies
from tests.collector.alarms.floor import Floor
from tests.dashboard.conftest import seed

PAGE = "../../dashboard/app_pages/people.py"
GOOD = "maple rivet cloud tin"
LASTS = timedelta(hours=1)


def browser(jar: dict[str, str] | None = None) -> SimpleNamespace:
    """What Streamlit knows of a browser with these cookies."""
    return SimpleNamespace(cookies=jar or {}, ip_address=None, theme=SimpleNamespace(type="light"))


def asks_who() -> None:
    """A page with the line at its top and one form."""
    import streamlit as page  # noqa: PLC0415  (a script of its own)

    from dashboard.blocks import signed_in as block  # noqa: PLC0415

    block.line("alarms")
    with page.form("one"):
        page.session_state["who"] = block.who("one_who")
        page.form_submit_button("Do it")


@pytest.fixture
def floor(store: sa.Engine, monkeypatch: pytest.MonkeyPatch) -> sa.Engine:
    """A store with an admin and an operator, who has a PIN."""
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", "accounts")
    monkeypatch.setattr(secret, "_hasher", argon2.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    secret._nobodys.cache_clear()
    # A page under test has no browser, and so no cookies at all.
    monkeypatch.setattr(signed_in.st, "context", browser())
    for name, role in (("admin 1", "admin"), ("operator 1", "operator")):
        with write(store) as conn:
            terminal = sign_in.at_terminal(conn, wall=wall_now())
        code = act.add(store, name, [role], who=terminal, clock=real_clock())
        codes.redeem(store, code, name=name, password=GOOD, pin="4907", address="t", clock=real_clock())
    return store


@pytest.fixture
def signed_in_as(floor: sa.Engine, monkeypatch: pytest.MonkeyPatch):
    """Give this browser the cookie of somebody."""

    def sign(name: str) -> None:
        person = sign_in.by_password(floor, name, GOOD, address="t", wall=wall_now(), lasts=LASTS)
        key = queries.signing_key()
        jar = {cookies.PLAIN: f"{person.token}.{cookies._signature(person.token, key)}"}
        monkeypatch.setattr(signed_in.st, "context", browser(jar))

    return sign


def opened() -> AppTest:
    at = AppTest.from_file(PAGE, default_timeout=30).run()
    assert not at.exception
    return at


def test_a_shop_of_one_person_is_told_how_names_are_asked(store: sa.Engine) -> None:
    at = opened()
    assert "Here everybody chooses a name" in at.markdown[0].value
    assert "Add an account" in list(at.dataframe[0].value["Act"])


def test_who_is_not_signed_in_sees_no_accounts(floor: sa.Engine) -> None:
    at = opened()
    assert "Sign in to see the accounts." in [each.value for each in at.markdown]
    assert len(at.dataframe) == 1


def test_an_operator_sees_the_accounts_and_cannot_change_them(signed_in_as) -> None:
    signed_in_as("operator 1")
    at = opened()
    assert list(at.dataframe[0].value["Name"]) == ["admin 1", "operator 1"]
    assert not at.button


def test_an_admin_adds_somebody_and_is_shown_the_code_once(floor: sa.Engine, signed_in_as) -> None:
    signed_in_as("admin 1")
    at = opened()
    at.text_input(key="accounts_name").input("operator 2")
    at.multiselect(key="accounts_roles").select("operator")
    at.button(key="accounts_add_button").click().run()
    assert not at.exception
    (shown,) = at.info
    code = shown.value.split("**")[1]
    codes.redeem(floor, code, name="operator 2", password=GOOD, address="t", clock=real_clock())
    assert not at.run().info


def test_an_admin_disables_and_enables(floor: sa.Engine, signed_in_as) -> None:
    signed_in_as("admin 1")
    at = opened()
    for button, disabled in (("Disable", True), ("Enable", False)):
        at.selectbox(key="accounts_which").select("operator 1").run()
        next(each for each in at.button if each.label == button).click().run()
        assert not at.exception
        with read(floor) as conn:
            account = people.account(conn, "operator 1")
        assert account is not None
        assert (account.disabled_at is not None) == disabled


def test_what_cannot_be_done_is_a_sentence(signed_in_as) -> None:
    signed_in_as("admin 1")
    at = opened()
    at.text_input(key="accounts_name").input("<b>x</b>")
    at.multiselect(key="accounts_roles").select("operator")
    at.button(key="accounts_add_button").click().run()
    assert at.warning[0].value.startswith("A name has 1 to 60 letters")


def test_the_form_says_who_is_signed_in(signed_in_as) -> None:
    signed_in_as("operator 1")
    at = AppTest.from_function(asks_who, default_timeout=30).run()
    assert not at.exception
    assert at.session_state["who"] == "operator 1"
    assert not at.selectbox
    assert "/account?next=alarms" in at.get("html")[0].proto.body


@pytest.mark.parametrize(
    ("action", "lacks"),
    [
        ("alarm acknowledge", ""), ("alarm close", "it needs the role technician"),
        ("approve limits", "it needs the role technician or quality"),
    ],
)  # fmt: skip
def test_a_page_asks_the_table_of_roles_before_it_offers_an_act(
    signed_in_as, action: str, lacks: str
) -> None:
    signed_in_as("operator 1")
    assert signed_in.why_not(action) == lacks


def test_whom_nobody_knows_is_offered_nothing(floor: sa.Engine) -> None:
    assert signed_in.why_not("alarm acknowledge") == "sign in first"


def test_where_there_are_no_accounts_everybody_is_offered_everything(store: sa.Engine) -> None:
    assert signed_in.why_not("alarm close") == ""


def test_an_operator_is_told_on_the_alarms_page_what_another_must_do(signed_in_as, floor: sa.Engine) -> None:
    press = Floor(floor, "P2")
    press.make(press.steady(120))
    press.make(press.steady(40, 2, mold_core_temperature=0.6))
    act_alarms.acknowledge(floor, press.alarm().id, who=signed_in_person(floor), clock=real_clock())
    signed_in_as("operator 1")
    at = AppTest.from_file("../../dashboard/app_pages/alarms.py", default_timeout=30).run()
    assert not at.exception
    said = "\n".join(str(each.value) for each in at.markdown)
    assert "Close it with a cause: it needs the role technician." in said
    (hold,) = press.rows("holds")
    assert f"Decide about hold {hold['id']}: it needs the role technician or quality." in said
    assert not [each for each in at.button if each.label in ("Close", "Release all", "Scrap all", "Shelve")]


@pytest.mark.parametrize(
    ("who", "page", "said"),
    [
        ("admin 1", "press", "Open or describe a run: it needs the role operator, technician or quality."),
        ("operator 1", "limits", "Approve limits from run R-0412: it needs the role technician or quality."),
    ],
)
def test_every_page_says_what_a_role_may_not_do(
    floor: sa.Engine, signed_in_as, who: str, page: str, said: str
) -> None:
    seed(floor, ("P1",))
    signed_in_as(who)
    at = AppTest.from_file(f"../../dashboard/app_pages/{page}.py", default_timeout=60).run()
    assert not at.exception
    assert any(said in str(each.value) for each in at.markdown)


def signed_in_person(engine: sa.Engine) -> str:
    """The operator, at another screen."""
    return sign_in.by_password(engine, "operator 1", GOOD, address="t", wall=wall_now(), lasts=LASTS)


def test_name_and_pin_act_for_some_minutes_and_not_me_ends_it(floor: sa.Engine) -> None:
    at = AppTest.from_function(asks_who, default_timeout=30).run()
    assert at.session_state["who"] == ""
    at.text_input(key="signed_in_typed").input("4907")
    next(each for each in at.button if each.label == "Act under this name").click().run()
    said = at.get_by_key("signed_in_popover").warning  # inside, since it covers what is around it
    assert [each.value for each in said] == ["Choose a name, then enter its PIN."]
    for pin, who in (("1111", ""), ("4907", "operator 1")):
        at.selectbox(key="signed_in_name").select("operator 1")
        at.text_input(key="signed_in_typed").input(pin)
        next(each for each in at.button if each.label == "Act under this name").click().run()
        assert not at.exception
        assert at.session_state["who"] == who
        if not who:  # the name stays, the PIN is asked anew
            assert at.selectbox(key="signed_in_name").value == "operator 1"
            assert at.text_input(key="signed_in_typed").value == ""
            assert len(at.get_by_key("signed_in_popover").warning) == 1
            assert "when this page is loaded anew" in at.get_by_key("signed_in_popover").caption[0].value
    at.button(key="signed_in_not_me").click().run()
    assert at.session_state["who"] == ""
    assert at.text_input(key="signed_in_typed").value == ""


def test_a_store_with_accounts_asks_for_them_whatever_the_settings_say(
    floor: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", "names")
    st.cache_resource.clear()
    assert queries.are_accounts()
    assert "its invented people have no account" in opened().markdown[0].value


def test_every_act_that_asks_for_a_role_has_words_for_people() -> None:
    assert set(ACT_WORDS) == {name for name, act in ACTS.items() if act.roles}
