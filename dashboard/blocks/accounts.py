"""Accounts on the People page: which there are, and what an admin does about them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pandas as pd
import streamlit as st

from collector.actions import people as act
from collector.errors import EvenrunError
from collector.people.roles import ACTS, ROLES
from collector.store.people import Account
from dashboard.blocks import acting
from dashboard.blocks.act_words import ACT_WORDS
from dashboard.queries import database

CODE = "accounts_code"


def table(accounts: list[Account], last: dict[int, datetime]) -> None:
    """Every account, disabled ones too: the journal names them for good."""
    rows = [
        {
            "Name": each.name,
            "Roles": ", ".join(each.roles),
            "State": _state(each),
            "PIN": "yes" if each.pin_hash else "no",
            "Last signed in": f"{database.local(last[each.id]):%Y-%m-%d %H:%M}"
            if each.id in last
            else "never",
        }
        for each in accounts
    ]
    st.dataframe(pd.DataFrame(rows), hide_index=True, height="content", alt="Accounts, roles and state")


def _state(each: Account) -> str:
    if each.disabled_at is not None:
        return f"disabled {database.local(each.disabled_at):%Y-%m-%d}"
    if each.provider_subject is not None:
        return "active, by the identity provider"
    return "active" if each.password_hash else "waits for its first password"


def code_given() -> None:
    """The code of the last act, once: it is stored nowhere in this form."""
    given = st.session_state.pop(CODE, None)
    if given:
        name, code = given
        st.info(
            f"Tell {name} this code, by word of mouth: **{code}**. With it a password is chosen at "
            "/code on these screens, within two days. It is shown only now.",
            icon=":material/key:",
        )


def manage(accounts: list[Account], who: str) -> None:
    """The forms of an admin."""
    left, right = st.columns(2, gap="large")
    with left:
        _add(who)
    with right:
        _change(accounts, who)


def _add(who: str) -> None:
    with st.form("accounts_add"):
        st.markdown("**Add somebody**")
        name = st.text_input("Name, as the journal will say it", key="accounts_name", max_chars=60)
        roles = st.multiselect("Roles", ROLES, key="accounts_roles")
        pressed = st.form_submit_button("Add and get a code", type="primary", key="accounts_add_button")
    if pressed:
        _with_code(name, lambda: act.add(database.engine(), name, roles, who=who, clock=database.clock()))


def _change(accounts: list[Account], who: str) -> None:
    with st.container(border=True):
        st.markdown("**Change an account**")
        by_name = {each.name: each for each in accounts}
        name = st.selectbox(
            "Account", list(by_name), index=None, key="accounts_which", placeholder="choose one"
        )
        if name is None:
            return
        each = by_name[name]
        if each.provider_subject is not None:
            st.caption("Roles of this account come from the identity provider, at each sign-in anew.")
        with st.form(f"accounts_roles_{each.id}", border=False):
            roles = st.multiselect("Roles", ROLES, default=each.roles, key=f"accounts_roles_of_{each.id}")
            changed = st.form_submit_button("Change the roles", key=f"accounts_roles_button_{each.id}")
        with st.container(horizontal=True):
            code = st.button("New code", key=f"accounts_code_{each.id}", disabled=bool(each.disabled_at))
            off = "Enable" if each.disabled_at else "Disable"
            switched = st.button(off, key=f"accounts_switch_{each.id}")
    if changed:
        acting.carry_out(f"{name} has other roles now.", act.set_roles, name=name, roles=roles, who=who)
    if code:
        _with_code(name, lambda: act.give_code(database.engine(), name, who=who, clock=database.clock()))
    if switched and each.disabled_at:
        acting.carry_out(f"{name} may act again.", act.enable, name=name, who=who)
    elif switched:
        acting.carry_out(f"{name} can do nothing from now on.", act.disable, name=name, who=who)


def _with_code(name: str, action: Callable[[], str]) -> None:
    try:
        st.session_state[CODE] = (" ".join(name.split()), action())
        acting.done_with("accounts_name", "accounts_roles")
    except EvenrunError as error:
        acting.refuse(str(error))
    st.rerun()


def may_do() -> None:
    """Which act needs which role, from the table that is enforced."""
    rows = [
        {"Act": ACT_WORDS[name], **{role: "yes" if role in row.roles else "no" for role in ROLES},
         "By PIN": "yes" if row.pin else "password only"}
        for name, row in ACTS.items()
        if row.roles
    ]  # fmt: skip
    st.dataframe(pd.DataFrame(rows), hide_index=True, height="content", alt="Acts and the roles they need")
