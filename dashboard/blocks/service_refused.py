"""What could not be read: browse it, see the bytes, take it along as a file, in again, or put it aside."""

from __future__ import annotations

from typing import Any

import streamlit as st

from collector.actions import refusals as act
from collector.errors import EvenrunError
from collector.store.database import read
from dashboard.blocks import acting, signed_in
from dashboard.blocks import service_words as words
from dashboard.blocks.plain import plain
from dashboard.queries import database
from dashboard.queries import service as queries

LAST = 200
MOST_BYTES = 4_000
EVERY_SOURCE = "Every source"
AGAIN = "Take them again"
ASIDE, ALL_ASIDE = "Put aside", "Put all aside"


def show() -> None:
    """The list, one entry in detail, and what can be done."""
    with read(database.engine()) as conn:
        known = queries.sources(conn)
    if not known:
        st.write("Nothing was ever refused.")
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        chosen = st.selectbox(
            "Source", [EVERY_SOURCE, *(one.name for one in known)], key="service_source", width=300,
            format_func=lambda name: _source_words(name, known),
        )  # fmt: skip
        kept_only = st.toggle("Only what still waits", value=True, key="service_kept_only")
    source = None if chosen == EVERY_SOURCE else chosen
    _list(source, kept_only=kept_only)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        _export(source, kept_only=kept_only)
        _replay()
        waiting = sum(one.kept for one in known if one.name == source)
        if source is not None and waiting:
            what = f"All {waiting:,} of {plain(source)} that wait do so no more, since nobody can read them."
            _put_aside(ALL_ASIDE, f"{what} They stay in the store.", source=source)


def _source_words(name: str, known: list[queries.Source]) -> str:
    mine = [one for one in known if name in (EVERY_SOURCE, one.name)]
    kept, later = sum(one.kept for one in mine), sum(one.replayed for one in mine)
    aside = sum(one.put_aside for one in mine)
    return f"{name} ({kept:,} wait, {later:,} read later{f', {aside:,} put aside' if aside else ''})"


def _list(source: str | None, *, kept_only: bool) -> None:
    with read(database.engine()) as conn:
        rows = queries.refused(conn, source=source, kept_only=kept_only, last=LAST)
    if not rows:
        st.write("Nothing that was refused waits.")
        return
    chosen = st.dataframe(
        [words.refusal_row(row, database.local) for row in rows], key="service_refused", hide_index=True,
        on_select="rerun", selection_mode="single-row", alt="Refused messages, newest first",
    )  # fmt: skip
    picked = chosen["selection"]["rows"]
    if picked and picked[0] < len(rows):
        _detail(rows[picked[0]])
    else:
        st.caption(f"The newest {len(rows):,}. Choose a row to see its bytes and what to do.")


def _detail(row: Any) -> None:
    with read(database.engine()) as conn:
        raw = queries.raw(conn, row.id)
    with st.container(border=True):
        st.text(f"{row.detail}; {row.remedy}.")
        st.text(f"{row.topic or row.position}, {len(raw):,} bytes")
        st.code(words.bytes_words(raw, MOST_BYTES), language=None, wrap_lines=True)
        if row.state == "kept":
            what = "It waits no more, since nobody can read it. It stays in the store."
            _put_aside(ASIDE, what, numbers=[row.id])


def _export(source: str | None, *, kept_only: bool) -> None:
    def content() -> bytes:
        with read(database.engine()) as conn:
            return queries.refused_csv(conn, source=source, kept_only=kept_only)

    st.download_button(
        "Export as CSV", content, file_name="refused.csv", mime="text/csv", key="service_export",
        icon=":material/download:", on_click="ignore",
    )  # fmt: skip


def _replay() -> None:
    if not signed_in.may("refusals replayed", AGAIN):
        return
    with st.popover(AGAIN, icon=":material/replay:"), st.form("service_replay", border=False):
        st.write(
            "After a mapping or a setting was mended. Rows of files: import the file again; those that are "
            "read then leave the list."
        )
        who = signed_in.who("service_replay_who")
        if st.form_submit_button("Take again", type="primary", key="service_replay_button"):
            try:
                done = act.replay(database.engine(), database.settings(), who=who, clock=database.clock())
            except EvenrunError as error:
                acting.refuse(str(error))
            else:
                left = f" Of edge nodes, left alone: {done.of_edge_nodes:,}." if done.of_edge_nodes else ""
                acting.say_done(f"{done.taken:,} read now, {done.still_refused:,} still do not.{left}")
            st.rerun()


def _put_aside(
    title: str, what: str, *, numbers: list[int] | None = None, source: str | None = None
) -> None:
    if not signed_in.may("refusals put aside", title):
        return
    key = "service_aside_all" if numbers is None else f"service_aside_{numbers[0]}"
    with st.popover(title, icon=":material/archive:"), st.form(key, border=False):
        st.write(what)
        why = st.text_input("Why", key=f"{key}_why")
        who = signed_in.who(f"{key}_who")
        if st.form_submit_button(ASIDE, type="primary"):
            try:
                count = act.put_aside(
                    database.engine(), numbers=numbers, source=source, who=who, why=why,
                    clock=database.clock(),
                )  # fmt: skip
            except EvenrunError as error:
                acting.refuse(str(error))
            else:
                acting.say_done(f"{count:,} put aside.", clears=(f"{key}_why",))
            st.rerun()
