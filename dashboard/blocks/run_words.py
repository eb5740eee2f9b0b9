"""How a run is said in a list, and what about it asks for attention. Pure."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from dashboard.queries.runs import RunLine

# Shapes by style alone: Streamlit takes drawings out of HTML.
STYLE = """<style>
.run-marks { display: flex; flex-wrap: wrap; gap: 6px 26px; align-items: center; }
.run-marks span { display: inline-flex; align-items: center; gap: 10px; }
.run-marks i { width: 13px; height: 13px; }
.run-marks .signal { background: #f6b800; border: 2px solid #1b1e23; transform: rotate(45deg) scale(.85); }
.run-marks .hold { background: #2b78cc; }
</style>"""


def line(run: RunLine, local: Callable[[datetime], datetime]) -> str:
    """``R-0406 · P2 · Larch 5 · Tue 3 Nov 07:00 · 3 alarms · 328 discs were held``."""
    opened = local(run.opened_at)
    parts = [
        run.name, run.press, run.mold, f"{opened:%a} {opened.day} {opened:%b %Y %H:%M}",
        None if run.closed_at else "still open", "in the archive" if run.archived else None,
        alarm_words(run), held_words(run) if run.held else None,
    ]  # fmt: skip
    return " \u00b7 ".join(part for part in parts if part)


def alarm_words(run: RunLine) -> str:
    """``3 alarms``."""
    return "no alarm" if not run.alarms else "1 alarm" if run.alarms == 1 else f"{run.alarms:,} alarms"


def held_words(run: RunLine) -> str:
    """What was set aside, and what still is."""
    discs = f"{run.held:,} disc{'' if run.held == 1 else 's'}"
    if not run.held:
        return "no disc was held"
    if not run.waiting:
        return f"{discs} held, none now"
    return f"{discs} held, {run.waiting:,} still"


def in_short(run: RunLine) -> str:
    """Alarms and held discs, each with its mark; the square only while somebody must act."""
    marks = {
        alarm_words(run): "signal" if run.alarms else "", held_words(run): "hold" if run.waiting else "",
    }  # fmt: skip
    spans = "".join(f"<span>{_drawn(mark)}{words}</span>" for words, mark in marks.items())
    return f'{STYLE}<div class="run-marks">{spans}</div>'


def _drawn(mark: str) -> str:
    return f'<i class="{mark}"></i>' if mark else ""
