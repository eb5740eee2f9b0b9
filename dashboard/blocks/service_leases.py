"""Which collector has which part of the presses, where there is more than one of either."""

from __future__ import annotations

import streamlit as st

from collector.store import leases
from collector.store.database import read
from dashboard.blocks.plain import plain, plain_rows
from dashboard.queries import database

NOBODY = "nobody: start evenrun collect"


def show() -> None:
    """A row a part, and who waits to take over; nothing where one collector has all."""
    site = database.settings().site
    with read(database.engine()) as conn:
        wall = leases.clock(conn)
        parts, there = leases.of_site(conn, site), leases.names_present(conn, site, wall=wall)
    if len(parts) < 2 and len(there) < 2:
        return
    st.subheader("Who collects what")
    st.table(
        plain_rows(
            {
                "Part": f"{one.part} of {one.parts}",
                "Collector": NOBODY if one.free(wall) else one.holder or NOBODY,
                "Session on the broker": one.name,
            }
            for one in parts
        )
    )
    waiting = sorted(there - {one.holder for one in parts if not one.free(wall)})
    if waiting:
        st.write(plain(f"Ready to take over: {', '.join(waiting)}"))
