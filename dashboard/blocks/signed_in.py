"""Who acts on this page: asked, signed in, or known by name and PIN for a few minutes. Nobody is preset."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

import streamlit as st

from collector.errors import EvenrunError
from collector.people import roles
from collector.people.person import Person
from collector.store.people import SignIn
from dashboard.blocks.plain import plain, sentence
from dashboard.queries import database
from dashboard.queries import people as queries
from dashboard.web import cookies

BY_PIN = "signed_in_by_pin"
REFUSED = "signed_in_refused"
ASKED = "signed_in_asked"
LOCAL = "this computer"


def person() -> tuple[Person, SignIn] | None:
    """Whoever is signed in at this browser, or entered name and PIN lately; None when nobody is."""
    token = cookies.token_in(st.context.cookies, queries.signing_key())
    return queries.whose(token) or queries.whose(st.session_state.get(BY_PIN))


def who(key: str, *, lasting: bool = False) -> str:
    """Who does what this form is for; empty while nobody was chosen or signed in.

    Parameters
    ----------
    key : str
        Of the field that asks for a name, where there are no accounts.
    lasting : bool
        Whether the name stays chosen: for one person who does the same many times. Otherwise each act asks
        anew, since the next one at the same screen is another person.
    """
    if not queries.are_accounts():
        if not lasting:
            st.session_state.setdefault(ASKED, set()).add(key)
        names = database.settings().people.names
        chosen = st.selectbox(
            "Who", names, index=None, key=key, width=220, placeholder="choose a name",
            persist_state="session" if lasting else None,
        )  # fmt: skip
        return chosen or ""
    found = person()
    if found is None:
        st.markdown("Nobody is signed in here.", width="content")
        return ""
    st.markdown(f"Who: **{plain(found[0])}**", width="content")
    return found[0]


def asked() -> frozenset[str]:
    """Keys of the fields in which a name was chosen for one act."""
    return frozenset(st.session_state.get(ASKED, ()))


def may(action: str, what: str) -> bool:
    """Whether whoever is here may do an act; where not, one line says so in place of its form.

    Parameters
    ----------
    action : str
        As the journal names it.
    what : str
        The same as a title for people.
    """
    lacks = why_not(action)
    if lacks:
        st.markdown(f":gray[{sentence(what)}: {sentence(lacks)}.]")
    return not lacks


def why_not(action: str) -> str:
    """What whoever is here lacks for an act; empty where nothing is, or where there are no accounts.

    What is shown is a courtesy: the act itself asks again, in its transaction.
    """
    if not queries.are_accounts():
        return ""
    found = person()
    if found is None:
        return "sign in first"
    return roles.refusal(action, found[1].roles, by_pin=found[1].kind == "pin") or ""


def line(page: str) -> None:
    """At the top of a page: who acts here, with the way to sign in or out."""
    if not queries.are_accounts():
        return
    found = person()
    with st.container(horizontal=True, horizontal_alignment="right", vertical_alignment="center"):
        if found is None:
            st.html(f"Nobody is signed in here. {_link('sign-in', page, 'Sign in')}", width="content")
            _ask_pin()
        elif found[1].kind == "pin":
            until = database.local(found[1].expires_at)
            st.html(f"<b>{escape(found[0])}</b> until {until:%H:%M}", width="content")
            st.button("Not me", key="signed_in_not_me", on_click=_not_me, type="tertiary")
        else:
            st.html(_link("account", page, found[0]), width="content")


def _link(address: str, page: str, words: str) -> str:
    # A link of Markdown would open another tab, and leave this one as it was.
    way = f"/{address}?next={quote(page)}"
    return f'<a href="{way}" target="_self" style="color:inherit">{escape(words)}</a>'


def may_read() -> bool:
    """Whether the page may be shown to whoever looks at it."""
    return database.settings().people.reading == "open" or person() is not None


def _ask_pin() -> None:
    names = queries.with_pin()
    if not names:
        return
    with st.popover("Name and PIN", icon=":material/dialpad:", key="signed_in_popover"):
        # What comes of it stands in here too: this covers what is below it.
        said = st.container(width=300)
        with st.form("signed_in_pin", border=False):
            st.selectbox("Name", names, index=None, placeholder="choose a name", key="signed_in_name")
            st.text_input("PIN", type="password", max_chars=8, autocomplete="off", key="signed_in_typed")
            st.form_submit_button("Act under this name", type="primary", on_click=_try_pin)
        minutes = database.settings().people.pin_minutes
        st.caption(f"It ends after {minutes:g} min, with Not me, and when this page is loaded anew.")
    if refused := st.session_state.pop(REFUSED, None):
        said.warning(refused, icon=":material/block:")


def _try_pin() -> None:
    """Let somebody act under a name; after a wrong PIN only the PIN is asked anew."""
    name, pin = st.session_state["signed_in_name"], st.session_state["signed_in_typed"]
    st.session_state["signed_in_typed"] = ""
    if not name:  # a guess at nobody's PIN would count against whoever is at this tablet
        st.session_state[REFUSED] = "Choose a name, then enter its PIN."
        return
    try:
        st.session_state[BY_PIN] = queries.by_pin(name, pin, _address()).token
    except EvenrunError as error:
        st.session_state[REFUSED] = f"{str(error)[:1].upper()}{str(error)[1:]}."


def _not_me() -> None:
    token = st.session_state.pop(BY_PIN, None)
    if token is None:
        return
    try:
        queries.sign_out(token)
    except EvenrunError as error:  # nobody at this screen acts under it any more, and it ends by itself
        st.toast(sentence(f"Not noted that you went: {error}."), duration="long")


def _address() -> str:
    return st.context.ip_address or LOCAL
