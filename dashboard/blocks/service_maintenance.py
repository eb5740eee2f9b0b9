"""Entering what was done to a press or its mold."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from collector.actions import maintenance as act
from collector.store.database import read
from dashboard.blocks import acting, signed_in
from dashboard.queries import database, press

TITLE = "Enter maintenance"
EXAMPLES = "check ring changed, mold cleaned, thermocouple replaced"


def show() -> None:
    """The form; what is entered stands on the time axis of the Press page."""
    with read(database.engine()) as conn:
        presses = press.press_names(conn, database.settings().site)
    if not presses:
        st.write("No press has reported yet.")
        return
    local_now = database.local(database.clock().now())
    if not signed_in.may("maintenance entered", TITLE):
        return
    with st.form("service_maintenance", width=640):
        st.markdown(f"**{TITLE}**")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            name = st.selectbox("Press", sorted(presses), key="service_maintenance_press", width=140)
            day = st.date_input("Day", local_now.date(), key="service_maintenance_day", width=160)
            clock = st.time_input(
                "Time", local_now.time(), key="service_maintenance_time", step=60, width=140
            )
        what = st.text_input("What was done", key="service_maintenance_what", placeholder=EXAMPLES)
        note = st.text_input("Note", key="service_maintenance_note")
        who = signed_in.who("service_maintenance_who")
        if st.form_submit_button("Enter", type="primary", key="service_maintenance_button"):
            at = datetime.combine(day, clock, tzinfo=database.zone())
            acting.carry_out(
                f"{name}: {what.strip()}, {at:%a %d %b %H:%M}. It stands on the time axis of the press.",
                act.enter, presses[name], what=what, at=at, who=who, note=note,
                clears=("service_maintenance_what", "service_maintenance_note"),
            )  # fmt: skip
    st.caption("It moves no limits and restarts no chart; that is done where an alarm is closed.")
