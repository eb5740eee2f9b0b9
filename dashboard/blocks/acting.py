"""Carrying out what a person asked for on a page, and saying what came of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import streamlit as st

from collector.errors import EvenrunError
from dashboard.blocks import signed_in
from dashboard.blocks.plain import sentence
from dashboard.queries import database

MESSAGE = "acting_message"
DONE_WITH = "acting_done_with"


def carry_out(
    done: str, action: Callable[..., Any], *subject: int, clears: Iterable[str] = (), **arguments: Any
) -> None:
    """Call an action with the store and the clock, and show the page anew.

    Parameters
    ----------
    done : str
        What is said if it went well.
    action : callable
    subject : int
        What the action is about.
    clears : iterable of str
        Keys of the fields that are emptied then; who acted is asked anew in any case. What was refused stays
        as it was typed.
    arguments
        Of the action.
    """
    try:
        action(database.engine(), *subject, clock=database.clock(), **arguments)
    except EvenrunError as error:
        refuse(str(error))
    else:
        say_done(done, clears)
    st.rerun()


def say_done(words: str, clears: Iterable[str] = ()) -> None:
    """Say at the next run of the page what was done, and empty the fields it was done with."""
    st.session_state[MESSAGE] = ("done", words)
    done_with(*clears, *signed_in.asked())


def done_with(*keys: str) -> None:
    """Empty these fields at the next run of the page."""
    st.session_state[DONE_WITH] = keys


def refuse(words: str) -> None:
    """Say at the next run of the page why something was not done."""
    st.session_state[MESSAGE] = ("refused", f"{words[:1].upper()}{words[1:]}.")


def say() -> None:
    """What came of the last act, once; in a corner of the screen too, since a long page hides its top."""
    # Before any field is drawn: afterwards none can be emptied.
    for key in st.session_state.pop(DONE_WITH, ()):
        if key in st.session_state:
            st.session_state[key] = _emptied(st.session_state[key])
    kind, said = st.session_state.pop(MESSAGE, (None, ""))
    words = sentence(said)
    if kind is not None:
        st.toast(words, duration="long")
    if kind == "refused":
        st.warning(words, icon=":material/block:")
    elif kind == "done":
        st.info(words, icon=":material/check:")


def _emptied(value: object) -> object:
    """What a field of this kind holds before anybody touched it."""
    return type(value)() if isinstance(value, str | bool | list) else None
