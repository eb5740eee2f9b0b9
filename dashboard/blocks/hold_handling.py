"""What a person does with discs on hold: let them go, scrap them, or set more aside by hand."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from collector.actions import holds as act_hold
from collector.store.database import read
from collector.store.holds import HoldRow
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out, refuse
from dashboard.blocks.alarm_words import ACT, hold_words
from dashboard.queries import alarms as queries
from dashboard.queries import database
from dashboard.queries.alarms import Detail, Held, open_holds


def of_alarm(found: Detail) -> None:
    """What is set aside, with the forms to let it go or to scrap it."""
    if not found.holds:
        st.write("Nothing is on hold for this alarm.")
    for held in found.holds:
        marked = f":blue[{ACT}] " if held.hold.state == "open" else ""
        st.markdown(f"{marked}{hold_words(held)}")
    for held in open_holds(found.holds):
        _settle(held)


def waiting() -> None:
    """Every hold of the floor that waits for a decision."""
    with read(database.engine()) as conn:
        found = queries.all_open_holds(conn)
    if not found:
        st.subheader("Nothing is on hold")
    twins = same_discs([held.hold for _, held in found])
    for press, held in found:
        with st.container(border=True):
            twin = twins.get(held.hold.id)
            also = "" if twin is None else f" (the same discs as hold {twin})"
            st.markdown(f"**{press}: {held.hold.reason}**{also}")
            st.markdown(f":blue[{ACT}] {hold_words(held)}")
            _settle(held)


def same_discs(holds: Sequence[HoldRow]) -> dict[int, int]:
    """For each hold of the same shots as an earlier one: the number of the earlier one."""
    first: dict[tuple[int, int, int | None], int] = {}
    twins = {}
    for hold in holds:
        earlier = first.setdefault((hold.press_id, hold.from_shot_id, hold.to_shot_id), hold.id)
        if earlier != hold.id:
            twins[hold.id] = earlier
    return twins


def by_hand() -> None:
    """Set the discs of some shots aside, whatever the charts say."""
    with read(database.engine()) as conn:
        presses = queries.press_names(conn)
    if not presses:
        return
    with st.form("alarms_hand"):
        st.markdown("**Set discs aside by hand**")
        press = st.selectbox("Press", presses, key="alarms_hand_press")
        first = st.number_input("From shot", min_value=0, value=None, step=1, key="alarms_hand_from")
        last = st.number_input("To shot", min_value=0, value=None, step=1, key="alarms_hand_to")
        who = signed_in.who("alarms_hand_who")
        reason = st.text_input("Reason", key="alarms_hand_reason", placeholder="what is wrong")
        wanted = st.form_submit_button("Set aside", key="alarms_hand_button")
    if wanted:
        _set_aside(str(press), first, last, who=who, reason=reason)


def _set_aside(press: str, first: int | None, last: int | None, *, who: str, reason: str) -> None:
    if first is None or last is None:
        refuse("say from which shot to which")
        st.rerun()
    with read(database.engine()) as conn:
        ids = {counter: queries.shot_of(conn, press, counter) for counter in (first, last)}
    for counter, found in ids.items():
        if found is None:
            refuse(f"{press} has no shot {counter:,}")
            st.rerun()
    carry_out(
        f"Shots {first:,} to {last:,} of {press} are on hold.",
        act_hold.open_by_hand,
        from_shot_id=ids[first],
        to_shot_id=ids[last],
        who=who,
        reason=reason,
    )


def _settle(held: Held) -> None:
    hold = held.hold
    with (
        st.popover(f"Decide about hold {hold.id}", icon=":material/inventory_2:"),
        st.form(f"alarms_hold_{hold.id}", border=False),
    ):
        who = signed_in.who(f"alarms_hold_who_{hold.id}")
        reason = st.text_input(
            "Reason: what the gauge said, on how many discs", key=f"alarms_hold_reason_{hold.id}"
        )
        with st.container(horizontal=True):
            release = st.form_submit_button("Release", key=f"alarms_release_{hold.id}")
            scrap = st.form_submit_button("Scrap", key=f"alarms_scrap_{hold.id}")
    if release:
        carry_out(f"Hold {hold.id} is released.", act_hold.release, hold.id, who=who, reason=reason)
    if scrap:
        carry_out(f"Hold {hold.id} is scrapped.", act_hold.scrap, hold.id, who=who, reason=reason)
