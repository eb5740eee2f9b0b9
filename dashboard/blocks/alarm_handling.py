"""What a person does about an alarm: acknowledge it, close it with a cause."""

from __future__ import annotations

import streamlit as st

from collector.actions import alarms as act
from collector.alarms import lifecycle
from collector.alarms.working import stage_of_row
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out
from dashboard.blocks.alarm_words import ACT
from dashboard.queries.alarms import Detail

WHO = "alarms_who"
ANOTHER = "Another cause, in the note"


def handle(found: Detail) -> None:
    """The forms that this alarm permits now."""
    alarm = found.alarm
    stage = stage_of_row(alarm)
    if lifecycle.may(stage, "acknowledge"):
        _acknowledge(found)
    if lifecycle.may(stage, "close"):
        _close(found, active=stage.active)


def _acknowledge(found: Detail) -> None:
    with st.form(f"alarms_acknowledge_{found.alarm.id}"):
        st.markdown(f"**:blue[{ACT}] Take it in hand**")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            who = signed_in.who(WHO)
            note = st.text_input("Note", key=f"alarms_ack_note_{found.alarm.id}", placeholder="what you see")
            pressed = st.form_submit_button("Acknowledge", type="primary", key=f"alarms_ack_{found.alarm.id}")
        if pressed:
            carry_out(
                f"Alarm {found.alarm.id}: {who} has it.",
                act.acknowledge, found.alarm.id, who=who, note=note.strip() or None,
            )  # fmt: skip


def _close(found: Detail, *, active: bool) -> None:
    alarm = found.alarm
    named = [entry["cause"] for entry in alarm.causes or []]
    with st.form(f"alarms_close_{alarm.id}"):
        st.markdown(f"**:blue[{ACT}] Close it with a cause**")
        options = [act.UNKNOWN_CAUSE, *named, ANOTHER]
        with st.container(horizontal=True, vertical_alignment="bottom"):
            who = signed_in.who(WHO)
            chosen = st.selectbox(
                "Cause", options, index=None, key=f"alarms_cause_{alarm.id}", placeholder="what it was"
            )
        note = st.text_input("What was found and done", key=f"alarms_close_note_{alarm.id}")
        # After single bad shots the charts are as good as before; after a lasting change they are not.
        restart = st.checkbox(
            "Let the charts of this press start anew", key=f"alarms_restart_{alarm.id}",
            value=active or not all(item.single for item in found.moved), disabled=active,
            help="Needed while the alarm is active: old values would signal again.",
        )  # fmt: skip
        if st.form_submit_button("Close", type="primary", key=f"alarms_close_button_{alarm.id}"):
            cause = note.strip() if chosen == ANOTHER else chosen or ""
            carry_out(
                f"Alarm {alarm.id} is closed: {cause}.",
                act.close, alarm.id, who=who, cause=cause, note=note.strip() or None, restart_charts=restart,
            )  # fmt: skip
