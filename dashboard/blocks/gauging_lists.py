"""Below the field of the gauging page: last entries, all discs due, lists joined by order."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pandas as pd
import sqlalchemy as sa
import streamlit as st

from collector.actions import gaugings as actions
from collector.contract import quantities
from collector.errors import EvenrunError
from collector.gauging.age import standing
from collector.store import gaugings
from collector.store.database import read
from collector.store.gaugings import GaugingRow
from dashboard.blocks import reading_form
from dashboard.blocks.disc_words import joined, place, reason
from dashboard.blocks.plain import sentence
from dashboard.queries import database
from dashboard.queries import gauging as queries
from dashboard.queries.gauging import OrderList, ToGauge

LAST = 5
STANDING = {"provisional": "provisional", "unknown": "age unknown", "final": None}


def entries(engine: sa.Engine, station: reading_form.Station) -> None:
    """The last entries made by hand, each with its undo."""
    with read(engine) as conn:
        rows = gaugings.latest(conn, characteristic=station.characteristic, source=actions.FORM, limit=LAST)
    st.markdown("**Last entries**")
    if not rows:
        st.caption("Nothing was entered by hand yet.")
    for row in rows:
        _entry(row, station.who)


def _entry(row: GaugingRow, who: str) -> None:
    words, undo = st.columns([5, 1], vertical_alignment="center")
    value = quantities.format_value(row.characteristic, row.value)
    where = place(row.tray, row.tray_position, row.counter)
    at = f"{database.local(row.gauged_at):%H:%M}" if row.gauged_at else None
    note = "taken back" if row.withdrawn_at else STANDING[standing(row.characteristic, row.age_h)]
    shown = f"~~{value}~~" if row.withdrawn_at else f"**{value}**"
    words.markdown(joined((shown, where, row.press, at, row.who, note)))
    if row.withdrawn_at is None:
        undo.button(
            "Undo", key=f"gauging_undo_{row.id}", width="stretch", on_click=reading_form.withdraw,
            args=(row, who),
        )  # fmt: skip


def due(todo: Sequence[ToGauge], now: datetime) -> None:
    """Every disc that is due, so that trays can be fetched together."""
    with st.expander(f"Discs due now or within the hour ({len(todo)})", icon=":material/list:"):
        if not todo:
            st.caption("None now or within the hour.")
            return
        frame = pd.DataFrame([_due_row(disc, now) for disc in todo])
        st.dataframe(frame, hide_index=True, alt="Discs to gauge with place, age and reason")


def _due_row(disc: ToGauge, now: datetime) -> dict[str, str | int | float | None]:
    age = disc.age_h(now)
    return {
        "Disc": place(disc.tray, disc.position, disc.counter),
        "Press": disc.press,
        "Shot": disc.counter,
        "Age, h": None if age is None else round(age, 1),
        "Due": "now" if disc.due_at <= now else f"{database.local(disc.due_at):%H:%M}",
        "Why": reason(disc)[1],
    }


def orders(engine: sa.Engine, who: str) -> None:
    """Lists whose readings were joined by their order alone, with the offset to correct."""
    with read(engine) as conn:
        lists = queries.order_lists(conn)
    if not lists:
        return
    with st.expander(f"Lists joined by order ({len(lists)})", icon=":material/format_list_numbered:"):
        st.caption(
            "A list names no discs, only their order. Where a disc was left out before the first one, "
            "every reading belongs to a later shot: shift the list."
        )
        for each in lists:
            _order(engine, each, who)


def _order(engine: sa.Engine, each: OrderList, who: str) -> None:
    key = "_".join(filter(None, each.listed))
    words = f"{each.joined:,} of {each.readings:,} readings joined. {_first_words(each)}"
    of_run = f", run {each.named_run}" if each.named_run else ""
    st.markdown(f"**{sentence(each.batch + of_run)}**: {sentence(words)}")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        offset = st.number_input(
            "Shots to skip before the first reading", value=each.offset, step=1, width=280,
            key=f"gauging_offset_{key}",
        )  # fmt: skip
        if st.button("Shift the list", key=f"gauging_shift_{key}", disabled=offset == each.offset):
            try:
                actions.shift_order(engine, each.listed, int(offset), who=who, clock=database.clock())
            except EvenrunError as error:
                st.session_state[reading_form.MESSAGE] = ("refused", str(error))
            st.rerun()


def _first_words(each: OrderList) -> str:
    if each.first_counter is None:
        return "None has found its shot yet."
    return f"The first belongs to shot {each.first_counter:,} of {each.press}, run {each.run}."
