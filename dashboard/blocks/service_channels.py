"""Channels to people: how they fare, a test of each, and what was sent lately."""

from __future__ import annotations

import streamlit as st

from collector.actions import channels as act
from collector.clock import wall_now
from collector.store.database import read
from dashboard.blocks import acting, live, signed_in
from dashboard.blocks import service_words as words
from dashboard.blocks.plain import plain_rows
from dashboard.queries import database
from dashboard.queries import service as queries

TRY = "Try a channel"
LAST = 30
ALIVE_S = 15.0


def show() -> None:
    """The channels of the settings."""
    with read(database.engine()) as conn:
        found = queries.channels(conn, database.settings())
        alive = queries.collector_speaks(conn, wall_now(), ALIVE_S)
    if not found:
        st.write("No channel is set up, so alarms are on the screens and on MQTT only.")
        st.write("The README says under \"Telling people\" how e-mail, chat or SMS is added.")
        return
    st.table(plain_rows(words.channel_row(one, database.local) for one in found))
    if not alive:
        st.markdown(f":blue[{words.ACT}] No collector runs, and only a collector hands messages over.")
    names = [one.name for one in found]
    off = [one for one in found if one.state.disabled_at is not None]
    with st.container(horizontal=True):
        _test(names)
        for one in off:
            _switch_on(one, names)
    _sent(names)


def _test(names: list[str]) -> None:
    if not signed_in.may("channel tested", TRY):
        return
    with st.form("service_test", width=420):
        st.markdown(f"**{TRY}**")
        name = st.selectbox("Channel", names, key="service_test_channel")
        who = signed_in.who("service_test_who")
        if st.form_submit_button("Send a test message", key="service_test_button"):
            acting.carry_out(
                f"A test message to {name} is on its way; what comes of it stands below.",
                act.test, name=name, known=names, who=who,
            )  # fmt: skip


def _switch_on(one: queries.Channel, names: list[str]) -> None:
    title = f"Switch {one.name} on again"
    if not signed_in.may("channel on", title):
        return
    with st.form(f"service_on_{one.name}", width=420):
        st.markdown(f"**:blue[{words.ACT}] {title}**")
        st.text(f"It is off because: {one.state.disabled_why}.")
        who = signed_in.who(f"service_on_who_{one.name}")
        why = st.text_input("What was mended", key=f"service_on_why_{one.name}")
        if st.form_submit_button("Switch on", type="primary", key=f"service_on_button_{one.name}"):
            acting.carry_out(
                f"The channel {one.name} is on again.", act.switch_on, name=one.name, known=names, who=who,
                why=why,
            )  # fmt: skip


@live.every(2.0)
def _sent(names: list[str]) -> None:
    with read(database.engine()) as conn:
        rows = queries.messages(conn, names, last=LAST)
    st.subheader("Sent lately")
    if rows:
        st.table(plain_rows(words.message_row(row, title, database.local) for row, title in rows))
    else:
        st.write("Nothing was sent yet.")
