"""The floor screen as a component: one drawing for a wall, one for a tablet; the browser's shape picks.

Streamlit's `st.html` strips SVG, so the drawing goes through a component of a few lines: put the new drawing
in place, and squeeze the texts that a strange font makes too wide. It covers the whole window; a wall needs
no header, menu or sidebar.
"""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard.blocks.drawing import set_text, text
from dashboard.blocks.floor_tablet import tablet
from dashboard.blocks.floor_wall import wall
from dashboard.blocks.lane_words import Local
from dashboard.queries.floor_facts import Floor

CSS = Path(__file__).with_name("floor.css").read_text(encoding="utf-8")
JS = """\
export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".floor");
  root.classList.toggle("dark", data.dark);
  root.innerHTML = data.drawing;
  for (const line of root.querySelectorAll("text[data-fit]")) {
    if (line.getComputedTextLength() > Number(line.dataset.fit)) {
      line.setAttribute("textLength", line.dataset.fit);
      line.setAttribute("lengthAdjust", "spacingAndGlyphs");
    }
  }
}
"""
# While a page is drawn again, Streamlit fades what stands on it, and a faded element lies under the header:
# once a second the menu would flash over the wall.
ALONE = """\
<style>
  [data-testid="stHeader"] { display: none; }
  [data-testid="stElementContainer"] { opacity: 1 !important; transition: none !important; }
</style>
"""
# Registered once a process, when the first page imports this.
_SCREEN = st.components.v2.component(
    "evenrun_floor",
    html="<div class='floor' role='main'></div>\n<!-- covers the window -->",
    css=CSS,
    js=JS,
)


def drawing(floor: Floor, *, local: Local, provisional_shots: int, stop_cycles: float) -> str:
    """Both layouts of the floor, as the HTML that the component shows. All text in it is escaped."""
    settings = {"local": local, "provisional_shots": provisional_shots, "stop_cycles": stop_cycles}
    return wall(floor, **settings) + tablet(floor, **settings)  # type: ignore[arg-type]


def trouble(words: str) -> str:
    """What the wall shows while the store cannot be read, instead of an old picture that looks like now."""
    title, reason = "The store cannot be read", set_text(words, width=1700, largest=36, smallest=24, lines=3)
    lines = "".join(
        text(960, 580 + index * 48, reason.size, line, style="muted middle")
        for index, line in enumerate(reason.lines)
    )
    box = '<svg class="wall" viewBox="0 0 1920 1080">', '<svg class="tablet" viewBox="0 0 1920 1080">'
    return "".join(f"{each}{text(960, 500, 64, title, style='bold middle')}{lines}</svg>" for each in box)


def show(picture: str, *, dark: bool) -> None:
    """Put the drawing on the screen."""
    _SCREEN(data={"drawing": picture, "dark": dark}, key="floor_screen")


def alone() -> None:
    """Keep the header away, and the drawing solid while it is made anew. Call it outside of fragments."""
    st.html(ALONE)
