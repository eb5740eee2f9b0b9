"""People: accounts and roles, and which act needs which."""

import streamlit as st

from dashboard.blocks import accounts, acting, signed_in
from dashboard.queries import database
from dashboard.queries import people as queries

st.title("People")
acting.say()
accounts.code_given()

if not queries.are_accounts():
    st.write(
        "Here everybody chooses a name from a list, and nobody proves it: right for a demo or a shop of one "
        'person. Accounts with passwords, PINs and roles come with the setting people.sign_in = "accounts".'
    )
else:
    if database.settings().people.sign_in == "names":
        st.write(
            "Since there are accounts, nothing is done under a chosen name any more. In a demo its invented "
            "people have no account, so they answer no alarm and decide about no hold."
        )
    found = signed_in.person()
    if found is None:
        st.write("Sign in to see the accounts.")
    else:
        listed, last = queries.listing()
        accounts.table(listed, last)
        if "admin" in found[1].roles and found[1].kind != "pin":
            accounts.manage(listed, found[0])

st.subheader("Who may do what", anchor=False)
accounts.may_do()
