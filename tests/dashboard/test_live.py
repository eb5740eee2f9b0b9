"""A part of a page that is drawn anew by itself says that the store is lost, as the whole page does."""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from streamlit.testing.v1 import AppTest

import dashboard

LOST = """
from collector.errors import StoreUnavailable
from dashboard.blocks import live

@live.every(5.0)
def draw(name):
    raise StoreUnavailable(f"the database {name} is locked by another process; close what holds it")

draw("a.db")
"""


def test_a_lost_store_is_a_sentence_and_no_stack() -> None:
    at = AppTest.from_string(LOST).run()
    assert not at.exception
    (said,) = at.warning
    assert said.value.endswith("the database a.db is locked by another process; close what holds it.")


def test_every_part_that_is_drawn_anew_goes_through_here() -> None:
    assert callable(st.fragment)  # as it is called where this looks for it
    sources = Path(dashboard.__file__).parent.rglob("*.py")
    assert [path.name for path in sources if "st.fragment" in path.read_text()] == ["live.py"]
