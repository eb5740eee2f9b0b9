"""The frame around the pages: which pages there are, and what all of them share.

A new page is one file in `app_pages` and one row here.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from collector.errors import StoreError
from dashboard.blocks import signed_in
from dashboard.blocks.plain import sentence

ICON = Path(__file__).parent / "icon.svg"
# Streamlit writes white on the accent; on the light blue of the dark theme that is 2.1:1.
# As tall as the other widgets of a row, so that their labels stand on one line.
CHOICES = '<style>[data-testid="stButtonGroup"] [role="radio"] { min-height: 2.5rem; }</style>'
DARK_BUTTONS = '<style>[data-testid^="stBaseButton-primary"] { color: #121519; }</style>'


@dataclass(frozen=True, slots=True)
class PageRow:
    """One page: its file in `app_pages`, its name, and what it is for."""

    module: str
    title: str
    purpose: str


PAGES: tuple[PageRow, ...] = (
    PageRow("floor", "Floor", "All presses at a glance, for a screen on the wall."),
    PageRow("press", "Press", "Every characteristic of one press, with its limits."),
    PageRow("limits", "Limits", "What limits rest on and cost; study a run, approve."),
    PageRow("alarms", "Alarms", "What needs a person, with checks and holds."),
    PageRow("gauging", "Gauging", "Which discs to gauge next, and their readings."),
    PageRow("dome", "Dome", "What flagged shots became a day later."),
    PageRow("run_audit", "Run audit", "The record that answers a complaint."),
    PageRow("service", "Service", "Health, refusals, jobs, channels to people, journal, maintenance."),
    PageRow("people", "People", "Accounts, roles, and who may do what."),
)


def main() -> None:
    """Pick the page that the address names and run it."""
    st.set_page_config(
        page_title="evenrun", page_icon=str(ICON), layout="wide", initial_sidebar_state="collapsed"
    )
    # Pages without icons of their own: the browser's tab would fetch them from outside the shop.
    pages = [
        st.Page(
            f"app_pages/{row.module}.py",
            title=row.title,
            url_path=row.module,
            help=row.purpose,
            default=row.module == "floor",
        )
        for row in PAGES
    ]
    try:
        page = st.navigation(pages, position="top")
        if not signed_in.may_read():
            st.html('Sign in to read this. <a href="/sign-in" target="_self">Sign in</a>')
            return
        st.html(CHOICES)
        if st.context.theme.type == "dark":
            st.html(DARK_BUTTONS)
        if page.url_path:  # the floor is for a wall: nobody signs in there
            signed_in.line(page.url_path)
        page.run()
    except StoreError as error:
        st.warning(sentence(f"This page shows nothing now; reload it to try again: {error}."))


if __name__ == "__main__":
    main()
