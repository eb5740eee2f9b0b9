"""What is out of service: listed, put back, and taken out. What is shelved stands in the list of alarms."""

from __future__ import annotations

import streamlit as st

from collector.actions import shelving
from collector.contract import quantities
from collector.store.database import read
from collector.store.set_asides import SetAside
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out, refuse
from dashboard.blocks.alarm_words import out_words
from dashboard.blocks.plain import sentence
from dashboard.queries import alarms as queries
from dashboard.queries import database

TAKE_OUT, PUT_BACK = "Take out of service", "Put it back"
ALL = ""  # every characteristic of a press


def out_of_service() -> None:
    """Everything that is out of service, each with the way back."""
    with read(database.engine()) as conn:
        found = queries.out_of_service(conn)
    for press, out in found:
        with st.container(border=True):
            st.markdown(sentence(out_words(press, out, database.local)))
            if signed_in.may("back in service", PUT_BACK):
                _put_back(out)
    if not found:
        st.write("Nothing is out of service.")


def take_out() -> None:
    """The form that takes a press or one of its characteristics out of service."""
    with read(database.engine()) as conn:
        presses, keys = queries.press_ids(conn), [ALL, *queries.charted_keys(conn)]
    if not presses or not signed_in.may("out of service", TAKE_OUT):
        return
    with st.form("alarms_out"):
        st.markdown(f"**{TAKE_OUT}**")
        st.caption("Charted and stored as ever, but it calls nobody until a person puts it back.")
        press = st.selectbox("Press", sorted(presses), index=None, key="alarms_out_press")
        key = st.selectbox("What of it", keys, format_func=_named, key="alarms_out_key")
        who = signed_in.who("alarms_out_who")
        reason = st.text_input("Reason", key="alarms_out_reason", placeholder="what is being repaired")
        pressed = st.form_submit_button(TAKE_OUT, key="alarms_out_button")
    if pressed and not press:
        refuse("choose the press that is taken out of service")
        st.rerun()
    if pressed and press:
        carry_out(
            f"{press} ({_named(key).lower()}) is out of service.", shelving.take_out_of_service,
            presses[press], key=key or None, who=who, reason=reason,
            clears=("alarms_out_press", "alarms_out_reason"),
        )  # fmt: skip


def _put_back(out: SetAside) -> None:
    with (
        st.form(f"alarms_back_{out.id}", border=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        who = signed_in.who(f"alarms_back_who_{out.id}")
        pressed = st.form_submit_button(PUT_BACK, key=f"alarms_back_button_{out.id}")
    if pressed:
        carry_out("It is back in service.", shelving.put_back, out.id, who=who)


def _named(key: str) -> str:
    return "All of the press" if key == ALL else quantities.label(key)
