"""The form of the gauging page: one number, Enter, next disc."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from collector.actions import gaugings as actions
from collector.contract import quantities, unit_names
from collector.errors import EvenrunError
from collector.gauging import reading
from collector.gauging.age import set_time_h
from collector.gauging.model import NewGauging
from collector.store.gaugings import GaugingRow
from dashboard.blocks import signed_in
from dashboard.blocks.disc_words import place
from dashboard.blocks.next_disc import FIELD
from dashboard.queries import database
from dashboard.queries.dome import tolerance_of
from dashboard.queries.gauging import ToGauge

MESSAGE = "gauging_message"
CHOSEN = "gauging_chosen"
TURN = "gauging_turn"
ASKED = "gauging_asked"
NO_DISC = (
    "A value typed now has no disc to go to. To gauge one all the same, name it by tray and position, "
    "or by press and shot, under \u201cAnother disc\u201d below; the field appears then."
)


@dataclass(frozen=True, slots=True)
class Station:
    """Who gauges what with which gauge."""

    who: str
    gauge: str
    characteristic: str

    @property
    def symbol(self) -> str:
        """Unit as written."""
        return unit_names.symbol(quantities.unit(self.characteristic) or "")

    @property
    def set_time_h(self) -> float:
        """Age from which a reading is final, h."""
        return set_time_h(self.characteristic)


def show(disc: ToGauge, station: Station) -> None:
    """The field and its button; Enter in the field does the same as the button."""
    if not signed_in.may("gauging entered", "Enter a gauging"):
        return
    with st.form("gauging_form", border=False):
        st.text_input(
            f"{quantities.label(station.characteristic)} in {station.symbol}, then Enter",
            key=FIELD, autocomplete="off", placeholder=station.symbol,
        )  # fmt: skip
        st.form_submit_button(
            "Save, next disc", type="primary", width="stretch", on_click=save, args=(disc, station)
        )


def save(disc: ToGauge, station: Station) -> None:
    """Store what was typed for the disc that was shown; keep the text when it cannot be."""
    try:
        value, unit, original, original_unit = reading.parse(st.session_state[FIELD], station.characteristic)
        if _asks(disc, station.characteristic, value):
            return
        outcome = actions.enter(
            database.engine(),
            NewGauging(
                site=database.settings().site, press=disc.press, run=disc.run, shot_id=disc.shot_id,
                counter=disc.counter, tray=disc.tray, position=disc.position,
                characteristic=station.characteristic, value=value, unit=unit,
                original_value=original if original_unit != unit else None,
                original_unit=original_unit if original_unit != unit else None,
                gauged_at=database.clock().now(), gauge=station.gauge,
            ),
            who=station.who, clock=database.clock(),
        )  # fmt: skip
    except EvenrunError as error:
        st.session_state[MESSAGE] = ("refused", str(error))
        st.session_state[TURN] = st.session_state.get(TURN, 0) + 1
        return
    said = quantities.format_value(station.characteristic, value)
    where = place(disc.tray, disc.position, disc.counter)
    st.session_state[MESSAGE] = ("saved", f"{where}: {said} saved{_standing(outcome.standing)}.")
    st.session_state[FIELD] = ""
    st.session_state[CHOSEN] = None
    st.session_state[TURN] = st.session_state.get(TURN, 0) + 1


def _asks(disc: ToGauge, characteristic: str, value: float) -> bool:
    """Ask once about a reading that looks mistyped; the same one entered again is meant."""
    allowed = tolerance_of(database.settings().tolerance, disc.mold, characteristic)
    low, high = (allowed.low, allowed.high) if allowed is not None else (None, None)
    doubt = reading.doubt(value, characteristic, low=low, high=high)
    entry = (disc.shot_id, characteristic, value)
    if not doubt or st.session_state.pop(ASKED, None) == entry:
        return False
    where = place(disc.tray, disc.position, disc.counter)
    st.session_state[ASKED] = entry
    st.session_state[MESSAGE] = ("asked", f"{where}: {doubt}. Enter again to keep it, or type it anew.")
    st.session_state[TURN] = st.session_state.get(TURN, 0) + 1
    return True


def withdraw(row: GaugingRow, who: str) -> None:
    """Take an entry back."""
    try:
        actions.withdraw(
            database.engine(), row.id, who=who, clock=database.clock(), why="undone on the form"
        )
    except EvenrunError as error:
        st.session_state[MESSAGE] = ("refused", str(error))
        return
    said = quantities.format_value(row.characteristic, row.value)
    where = place(row.tray, row.tray_position, row.counter)
    st.session_state[MESSAGE] = ("saved", f"{where}: {said} is taken back; the disc can be gauged again.")


def say() -> None:
    """What came of the last entry."""
    kind, words = st.session_state.get(MESSAGE, (None, ""))
    if kind == "refused":
        st.error(words, icon=":material/block:")
    elif kind == "asked":
        st.warning(words, icon=":material/help:")
    elif kind == "saved":
        st.info(words, icon=":material/check:")


def _standing(standing: str) -> str:
    return {"provisional": ", provisional", "unknown": ", age unknown"}.get(standing, "")
