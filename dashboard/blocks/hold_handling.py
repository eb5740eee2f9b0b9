"""What a person does with discs on hold: let them go, sort or scrap them, and think again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from collector.actions import holds as act_hold
from collector.store import holds as hold_store
from collector.store.database import read
from collector.store.holds import HoldRow, HoldStep
from dashboard.blocks import hold_scrapping, signed_in
from dashboard.blocks.acting import carry_out, refuse
from dashboard.blocks.alarm_words import ACT
from dashboard.blocks.hold_facts import known_words, stay_words
from dashboard.blocks.hold_words import hold_words, step_words, was_reopened
from dashboard.blocks.plain import sentence
from dashboard.queries import database, hold_facts
from dashboard.queries.alarm_detail import Detail
from dashboard.queries.holds import Held, all_open_holds, decided_holds, open_holds

THINK_AGAIN = "Think again"


def of_alarm(found: Detail) -> None:
    """What is set aside, with the forms to let it go or to scrap it."""
    if not found.holds and found.alarm.kind != "silence":
        st.write("Nothing is on hold for this alarm.")
    for held in found.holds:
        marked = f":blue[{ACT}] " if held.hold.state == "open" else ""
        st.markdown(f"{marked}{sentence(hold_words(held))}")
    for held in open_holds(found.holds):
        _settle(held)


def waiting() -> None:
    """Every hold of the floor that waits for a decision."""
    with read(database.engine()) as conn:
        found = all_open_holds(conn)
    if not found:
        st.subheader("Nothing is on hold")
    twins = same_discs([held.hold for _, held in found])
    for press, held in found:
        with st.container(border=True):
            twin = twins.get(held.hold.id)
            also = "" if twin is None else f" (the same discs as hold {twin})"
            st.markdown(f"**{sentence(f'{press}: {held.hold.reason}')}**{also}")
            st.markdown(f":blue[{ACT}] {sentence(hold_words(held))}")
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


def decided() -> None:
    """The holds decided lately, each with what happened to it and the way back."""
    with read(database.engine()) as conn:
        found = decided_holds(conn)
        steps = {held.hold.id: hold_store.steps(conn, held.hold.id) for _, held in found}
    if not found:
        return
    st.markdown("**Decided lately**")
    for press, held in found:
        with st.container(border=True):
            st.markdown(sentence(f"{press}: {held.hold.reason}"))
            st.markdown(sentence(hold_words(held)))
            _past(steps[held.hold.id])
            _reopen(held.hold.id)


def _past(steps: Sequence[HoldStep]) -> None:
    """What happened before, where the last decision was not the first."""
    if was_reopened(steps):
        st.caption("  \n".join(sentence(step_words(step, database.local)) for step in steps))


def _settle(held: Held) -> None:
    number = held.hold.id
    if not signed_in.may("hold released", f"Decide about hold {number}"):
        return
    if hold_scrapping.is_asked(held):
        hold_scrapping.ask_again(held)
        return
    with read(database.engine()) as conn:
        known = hold_facts.known(conn, held.hold, database.settings().tolerance)
    stay = stay_words(known.elsewhere)
    with (
        st.expander(f"Decide about hold {number}", icon=":material/inventory_2:"),
        st.form(f"alarms_hold_{number}", border=False),
    ):
        st.markdown(sentence("  \n".join(known_words(known, held.extent.discs, database.clock().now()))))
        who = signed_in.who(f"alarms_hold_who_{number}")
        reason = st.text_input(
            "Reason: what the gauge said, on how many discs", key=f"alarms_hold_reason_{number}"
        )
        release = st.form_submit_button("Release all", key=f"alarms_release_{number}")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            good = _count("Good discs", f"alarms_good_{number}")
            bad = _count("Scrapped discs", f"alarms_bad_{number}")
            sort = st.form_submit_button("Sorted", key=f"alarms_sort_{number}")
        scrap = st.form_submit_button("Scrap all", key=f"alarms_scrap_{number}")
    by: dict[str, Any] = {"who": who, "reason": reason}
    if release:
        carry_out(f"Hold {number} is released.{stay}", act_hold.release, number, **by)
    if scrap:
        hold_scrapping.ask(held, who=who, reason=reason, discs=bad, stay=stay)
    if sort:
        _sort(number, good, bad, by, stay)


def _count(label: str, key: str) -> int | None:
    found = st.number_input(label, min_value=0, value=None, step=1, key=key, width=140)
    return None if found is None else int(found)


def _sort(number: int, good: int | None, bad: int | None, by: dict[str, Any], stay: str) -> None:
    if good is None or bad is None:
        refuse("count both: how many discs are good, and how many are scrapped")
        st.rerun()
    done = f"Hold {number} is sorted: {good:,} good, {bad:,} scrapped.{stay}"
    carry_out(done, act_hold.sort, number, good_discs=good, bad_discs=bad, **by)


def _reopen(number: int) -> None:
    if not signed_in.may("hold reopened", THINK_AGAIN):
        return
    with (
        st.expander(THINK_AGAIN, icon=":material/undo:"),
        st.form(f"alarms_reopen_{number}", border=False),
    ):
        who = signed_in.who(f"alarms_reopen_who_{number}")
        reason = st.text_input("Reason", key=f"alarms_reopen_reason_{number}", placeholder="what is new")
        wanted = st.form_submit_button("Set aside again", key=f"alarms_reopen_{number}")
    if wanted:
        carry_out(f"Hold {number} is open again.", act_hold.reopen, number, who=who, reason=reason)
