"""Carrying out what a person asked for on a page, and saying what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from collector.errors import EvenrunError
from dashboard.blocks.plain import sentence
from dashboard.queries import database

MESSAGE = "acting_message"


def carry_out(done: str, action: Callable[..., Any], *subject: int, **arguments: Any) -> None:
    """Call an action with the store and the clock, and show the page anew; `done` is said if it went well."""
    try:
        action(database.engine(), *subject, clock=database.clock(), **arguments)
    except EvenrunError as error:
        refuse(str(error))
    else:
        st.session_state[MESSAGE] = ("done", done)
    st.rerun()


def refuse(words: str) -> None:
    """Say at the next run of the page why something was not done."""
    st.session_state[MESSAGE] = ("refused", f"{words[:1].upper()}{words[1:]}.")


def say() -> None:
    """What came of the last act, once; in a corner of the screen too, since a long page hides its top."""
    kind, said = st.session_state.pop(MESSAGE, (None, ""))
    words = sentence(said)
    if kind is not None:
        st.toast(words, duration="long")
    if kind == "refused":
        st.warning(words, icon=":material/block:")
    elif kind == "done":
        st.info(words, icon=":material/check:")
