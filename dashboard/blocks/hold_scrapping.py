"""Scrapping the discs of a hold asks twice: what is in the grinder does not come back."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from collector.actions import holds as act_hold
from collector.actions.hold_steps import given
from collector.errors import NotAllowed
from dashboard.blocks.acting import carry_out, refuse
from dashboard.blocks.alarm_words import ACT
from dashboard.blocks.plain import sentence
from dashboard.queries.holds import Held

WANTED = "alarms_scrapping"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody wants scrapped, before they were asked a second time."""

    number: int
    who: str
    reason: str
    discs: int | None  # None: all of them
    held: int  # discs in the hold when it was asked
    stay: str  # what is said of those that lie on other holds too


def ask(held: Held, *, who: str, reason: str, discs: int | None, stay: str) -> None:
    """Have the page ask once more, if there is a name and a reason."""
    try:
        given(who, reason)
    except NotAllowed as error:
        refuse(str(error))
    else:
        st.session_state[WANTED] = Wanted(held.hold.id, who, reason, discs, held.extent.discs, stay)
    st.rerun()


def is_asked(held: Held) -> bool:
    """Whether this hold waits for the second answer."""
    wanted = st.session_state.get(WANTED)
    return wanted is not None and wanted.number == held.hold.id


def ask_again(held: Held) -> None:
    """The second question, in place of the form."""
    wanted: Wanted = st.session_state[WANTED]
    found = wanted.held if wanted.discs is None else wanted.discs
    discs = "1 disc" if found == 1 else f"{found:,} discs"
    with st.container(border=True):
        st.markdown(f"**:blue[{ACT}] Scrap {discs} of hold {wanted.number}? They cannot be had back.**")
        st.markdown(sentence(f"{wanted.who}: {wanted.reason}"))
        with st.container(horizontal=True):
            yes = st.button("Yes, scrap them", key=f"alarms_scrap_yes_{wanted.number}", type="primary")
            no = st.button("No, leave them on hold", key=f"alarms_scrap_no_{wanted.number}")
    if yes or no:
        del st.session_state[WANTED]
    if yes:
        _scrap(wanted, held.extent.discs)
    if no:
        st.rerun()


def _scrap(wanted: Wanted, now_held: int) -> None:
    if wanted.discs is None and now_held != wanted.held:
        refuse(f"hold {wanted.number} has {now_held:,} discs by now, not {wanted.held:,}: decide anew")
        st.rerun()
    carry_out(
        f"Hold {wanted.number} is scrapped.{wanted.stay}", act_hold.scrap, wanted.number, who=wanted.who,
        reason=wanted.reason, discs=wanted.discs,
    )  # fmt: skip
