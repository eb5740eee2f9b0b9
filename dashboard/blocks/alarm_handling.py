"""What a person does about an alarm: acknowledge it, close it with a cause, shelve it for a while."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from collector.actions import alarms as act
from collector.actions import shelving
from collector.alarms import lifecycle
from collector.alarms.working import stage_of_row
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out
from dashboard.blocks.alarm_words import ACT
from dashboard.queries import database
from dashboard.queries.alarm_detail import Detail

WHO = "alarms_who"
SHELF_HOURS = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 12.0, 24.0)
ANOTHER = "Another cause, in the note"
ACKNOWLEDGE, CLOSE = "I look after it", "Close it with a cause"
SHELVE, UNSHELVE = "Shelve it for a while", "Let it come back now"


def handle(found: Detail) -> None:
    """The forms that this alarm permits now."""
    stage = stage_of_row(found.alarm)
    if lifecycle.may(stage, "acknowledge") and signed_in.may("alarm acknowledge", ACKNOWLEDGE):
        _acknowledge(found)
    if lifecycle.may(stage, "close") and signed_in.may("alarm close", CLOSE):
        _close(found, active=stage.active)
    if lifecycle.may(stage, "shelve") and signed_in.may("alarm shelve", SHELVE):
        _shelve(found)
    if lifecycle.may(stage, "unshelve") and signed_in.may("alarm unshelve", UNSHELVE):
        _unshelve(found)


def _acknowledge(found: Detail) -> None:
    with st.form(f"alarms_acknowledge_{found.alarm.id}"):
        st.markdown(f"**:blue[{ACT}] {ACKNOWLEDGE}**")
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
        st.markdown(f"**:blue[{ACT}] {CLOSE}**")
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


def _shelve(found: Detail) -> None:
    """Folded up: it is the exception, and must not stand beside closing as if it were as good."""
    number, longest_h = found.alarm.id, database.settings().alarms.longest_shelf_h
    with (
        st.expander(SHELVE, icon=":material/notifications_paused:"),
        st.form(f"alarms_shelve_{number}", border=False),
    ):
        discs = "" if found.alarm.kind == "silence" else " Its discs stay on hold."
        st.write(f"It calls nobody until then and comes back by itself.{discs}")
        who = signed_in.who(f"alarms_shelf_who_{number}")
        hours = st.selectbox(
            "For", [each for each in SHELF_HOURS if each <= longest_h], index=None, format_func=_hours,
            key=f"alarms_shelf_hours_{number}", placeholder="choose how long",
        )  # fmt: skip
        reason = st.text_input(
            "Reason", key=f"alarms_shelf_reason_{number}", placeholder="what is waited for"
        )
        pressed = st.form_submit_button("Shelve", key=f"alarms_shelf_{number}")
    if pressed:
        until = None if hours is None else database.clock().now() + timedelta(hours=hours)
        carry_out(
            f"Alarm {number} is shelved by {who}.", shelving.shelve, number, who=who, until=until,
            reason=reason, longest=timedelta(hours=longest_h),
        )  # fmt: skip


def _unshelve(found: Detail) -> None:
    number = found.alarm.id
    with st.form(f"alarms_unshelve_{number}"), st.container(horizontal=True, vertical_alignment="bottom"):
        who = signed_in.who(f"alarms_unshelf_who_{number}")
        pressed = st.form_submit_button(UNSHELVE, key=f"alarms_unshelf_{number}")
    if pressed:
        carry_out(f"Alarm {number} is back.", shelving.unshelve, number, who=who)


def _hours(hours: float) -> str:
    return f"{hours * 60:.0f} min" if hours < 1 else f"{hours:g} h"
