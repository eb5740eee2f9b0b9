"""Setting discs aside by hand: from shot to shot, or from tray to tray."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st

from collector.actions import holds as act_hold
from collector.store import holds as hold_store
from collector.store.database import read
from dashboard.blocks import signed_in
from dashboard.blocks.acting import carry_out, refuse
from dashboard.queries import alarms as queries
from dashboard.queries import database
from dashboard.queries.holds import shot_of

BY_HAND = "Set discs aside by hand"
SHOTS, TRAYS = "By shot", "By tray"
FIELDS = tuple(f"alarms_hand_{name}" for name in ("press", "from", "to", "tray_from", "tray_to", "reason"))


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is to be set aside in words; or, without shots, why it was not found."""

    what: str
    first_id: int | None = None
    last_id: int | None = None


def by_hand() -> None:
    """Set the discs of some shots, or of some trays, aside, whatever the charts say."""
    with read(database.engine()) as conn:
        presses = queries.press_ids(conn)
    if not presses or not signed_in.may("hold open", BY_HAND):
        return
    st.markdown(f"**{BY_HAND}**")
    unit = st.segmented_control(
        "By", [SHOTS, TRAYS], default=SHOTS, required=True, key="alarms_hand_by", label_visibility="collapsed"
    )
    with st.form("alarms_hand"):
        press = st.selectbox(
            "Press", sorted(presses), index=None, key="alarms_hand_press", placeholder="choose one"
        )
        find = _by_shot() if unit == SHOTS else _by_tray()
        who = signed_in.who("alarms_hand_who")
        reason = st.text_input("Reason", key="alarms_hand_reason", placeholder="what is wrong")
        wanted = st.form_submit_button("Set aside", key="alarms_hand_button")
    if wanted and press:
        _set_aside(press, find(presses[press]), who=who, reason=reason)
    elif wanted:
        refuse("choose the press whose discs are set aside")
        st.rerun()


def _by_shot() -> Callable[[int], Stretch]:
    """The fields for two shots, and how their stretch is found."""
    first = st.number_input("From shot", min_value=0, value=None, step=1, key="alarms_hand_from")
    last = st.number_input("To shot", min_value=0, value=None, step=1, key="alarms_hand_to")

    def find(press_id: int) -> Stretch:
        if first is None or last is None:
            return Stretch("say from which shot to which")
        with read(database.engine()) as conn:
            ids = [shot_of(conn, press_id, counter) for counter in (first, last)]
        for counter, found in zip((first, last), ids, strict=True):
            if found is None:
                return Stretch(f"this press has no shot {counter:,}")
        return Stretch(f"shots {first:,} to {last:,}", ids[0], ids[1])

    return find


def _by_tray() -> Callable[[int], Stretch]:
    """The fields for two trays, and how their stretch is found."""
    first = st.text_input("From tray", key="alarms_hand_tray_from")
    last = st.text_input("To tray", key="alarms_hand_tray_to", placeholder="the same, if left empty")

    def find(press_id: int) -> Stretch:
        trays = (first.strip(), last.strip() or first.strip())
        if not trays[0]:
            return Stretch("say from which tray to which")
        with read(database.engine()) as conn:
            found = [hold_store.tray_stretch(conn, press_id, tray) for tray in trays]
        for tray, stretch in zip(trays, found, strict=True):
            if stretch is None:
                return Stretch(f"no disc of this press went to tray {tray}")
        begin, end = found
        assert begin is not None  # looked at above
        assert end is not None
        what = f"tray {trays[0]}" if trays[0] == trays[1] else f"trays {trays[0]} to {trays[1]}"
        return Stretch(what, begin[0], end[1])

    return find


def _set_aside(press: str, stretch: Stretch, *, who: str, reason: str) -> None:
    if stretch.first_id is None or stretch.last_id is None:
        refuse(f"{press}: {stretch.what}")
        st.rerun()
    carry_out(
        f"{press}, {stretch.what}: on hold.",
        act_hold.open_by_hand,
        from_shot_id=stretch.first_id,
        to_shot_id=stretch.last_id,
        who=who,
        reason=reason,
        clears=FIELDS,
    )
