"""The floor on a wall: one lane per press, the last two hours, what needs a person."""

import streamlit as st

from collector.errors import StoreError
from dashboard.blocks import live
from dashboard.blocks.floor_live import floor_drawing
from dashboard.blocks.floor_screen import alone, show, trouble

DARK = st.query_params.get("theme") == "dark"


@live.every(1.0)
def draw() -> None:
    """Redraw once a second; every browser gets the same drawing, made once."""
    try:
        picture = floor_drawing()
    except StoreError as error:
        picture = trouble(str(error))
    show(picture, dark=DARK)


alone()
draw()
