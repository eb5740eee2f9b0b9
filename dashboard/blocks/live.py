"""Parts of pages that are drawn anew by themselves, and say so when the store is lost meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec

import streamlit as st

from collector.errors import StoreError
from dashboard.blocks.plain import sentence

P = ParamSpec("P")


def every(seconds: float) -> Callable[[Callable[P, None]], Callable[P, None]]:
    """Draw a part of a page anew every so many seconds.

    Such a turn runs beside the page, whose own word on a lost store it does not reach.
    """

    def made(draw: Callable[P, None]) -> Callable[P, None]:
        @wraps(draw)
        def drawn(*args: P.args, **kwargs: P.kwargs) -> None:
            try:
                draw(*args, **kwargs)
            except StoreError as error:
                st.warning(sentence(f"What stands here may be old; it is read again by itself: {error}."))

        return st.fragment(run_every=seconds)(drawn)

    return made
