"""Asks for a look at the first discs of a run, where the settings want one."""

from __future__ import annotations

import streamlit as st

from collector.actions.first_shot import approve_first_shot, is_approved
from collector.store.database import read
from dashboard.blocks import acting, signed_in
from dashboard.blocks.alarm_words import ACT
from dashboard.blocks.plain import sentence
from dashboard.queries import database, press


def show(press_id: int) -> None:
    """The form, while the newest open run of a press waits for it; nothing otherwise."""
    if not database.settings().charts.first_shot_approval:
        return
    with read(database.engine()) as conn:
        newest = next((run for run in press.run_rows(conn, press_id) if run.closed_at is None), None)
        if newest is None or is_approved(conn, newest.id):
            return
    title = f"Run {newest.name} has begun: look at its first discs"
    if not signed_in.may("first shot approved", title):
        return
    with st.form("first_shot", border=True):
        st.markdown(f"**:blue[{ACT}] {sentence(title)}**")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            who = signed_in.who("first_shot_who")
            note = st.text_input("What was looked at", key="first_shot_note", width=320)
            pressed = st.form_submit_button("The first discs are good", type="primary")
    if pressed:
        done = f"First discs of {newest.name} approved by {who}."
        acting.carry_out(done, approve_first_shot, newest.id, who=who, note=note.strip())
