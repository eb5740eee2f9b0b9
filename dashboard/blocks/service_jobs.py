"""Timed jobs with what their last run came to."""

from __future__ import annotations

import streamlit as st

from collector.jobs import JOBS
from collector.store import reports
from collector.store.database import read
from collector.store.jobs import last_results
from dashboard.blocks import live
from dashboard.blocks import service_words as words
from dashboard.blocks.plain import plain_rows
from dashboard.queries import database

EVERY_S = 10.0
SUMMARIES = 6


@live.every(EVERY_S)
def show() -> None:
    """Every job that one collector does for all, and the newest shift summaries."""
    with read(database.engine()) as conn:
        site = database.settings().site
        last = {one.name: one for one in last_results(conn)}
        summaries = reports.newest(conn, site, reports.SHIFT_SUMMARY, last=SUMMARIES)
    shared = [job for job in JOBS if job.shared]
    st.table(plain_rows(words.job_row(job, last.get(job.kept_as(site)), database.local) for job in shared))
    st.caption("A collector also gives a sign of life and looks at what waits, once a second.")
    if summaries:
        st.subheader("Shift summaries")
    for one in summaries:
        with st.expander(one.subject):
            st.text(one.text)
