"""The newest entries of the journal: who did what, when, and why."""

from __future__ import annotations

import streamlit as st

from collector.store.database import read
from dashboard.blocks.journal_words import journal_row
from dashboard.queries import database
from dashboard.queries import service as queries

LAST = 200


def show() -> None:
    """Newest first, with a filter."""
    containing = st.text_input(
        "Only entries that hold", key="service_journal_filter", width=320, max_chars=80,
        placeholder="a name, an act, 'alarm 12'",
    )  # fmt: skip
    with read(database.engine()) as conn:
        rows = queries.journal_entries(conn, containing=containing.strip(), last=LAST)
    if not rows:
        st.write("No such entry." if containing.strip() else "Nobody has done anything yet.")
        return
    st.dataframe(
        [journal_row(row, database.local) for row in rows], key="service_journal", hide_index=True,
        height=560, column_config={"Why": st.column_config.TextColumn(width="medium")},
        alt="Entries of the journal, newest first",
    )  # fmt: skip
    st.caption(f"The newest {len(rows):,}. `evenrun verify` tells whether any entry was changed or removed.")
