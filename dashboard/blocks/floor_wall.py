"""The floor on a wall: 1920 x 1080, one lane per press, words at the right. Pure.

Sizes follow from reading at 5 m on a 55-inch screen: capitals of 20 minutes of arc are 29 mm or 46 pixels
high, a font of 64 (MIL-STD-1472 and ISO 9241-303 ask for 16 to 22 minutes; figures from memory).
"""

from __future__ import annotations

from html import escape
from urllib.parse import quote

from dashboard.blocks.drawing import hatching, set_text, stack, symbol, text
from dashboard.blocks.floor_lane import has_limits, limit_label, picture, words
from dashboard.blocks.lane_marks import grid_hours, plot
from dashboard.blocks.lane_words import Local, counts, run_words, sentence, stale_words
from dashboard.queries.floor import Floor, Lane

WIDTH, HEIGHT = 1920, 1080
MARGIN, GAP = 20, 8
LANES_TOP, LANES_BOTTOM = 130, 1062
NAME_LEFT, NAME_WIDTH = 44, 262
PLOT_LEFT, PLOT_RIGHT = 330, 1000
WORDS_LEFT, WORDS_RIGHT = 1034, 1884
SIX_LANES = 148.0  # height of a lane of six; every size is drawn for it and scaled
SMALLEST_LANE = 56.0


def wall(floor: Floor, *, local: Local, provisional_shots: int, stop_cycles: float) -> str:
    """The drawing as SVG text."""
    count = max(len(floor.lanes), 1)
    lane_height = max((LANES_BOTTOM - LANES_TOP - GAP * (count - 1)) / count, SMALLEST_LANE)
    bottom = LANES_TOP + count * (lane_height + GAP)
    tall = bottom > HEIGHT
    body = [_header(floor, local)]
    for index, lane in enumerate(floor.lanes):
        top = LANES_TOP + index * (lane_height + GAP)
        said = sentence(lane, floor.now, local=local, provisional_shots=provisional_shots)
        blocks = words(
            said, width=_words_width(lane_height), scale=_scale(lane_height), lines=_lines(lane_height)
        )
        body.append(
            _link(lane, _panel(top, lane_height), _name(lane, top, lane_height))
            + _picture(floor, lane, top, lane_height, stop_cycles)
            + stack(
                blocks,
                x=WORDS_LEFT,
                indent=_indent(lane_height),
                middle=top + lane_height / 2,
                width=WORDS_RIGHT - WORDS_LEFT,
                gap=17 * _scale(lane_height) ** 1.5,
            )
        )
    body.append(_first_limit_label(floor, lane_height))
    return (
        f'<svg class="wall{" tall" if tall else ""}" viewBox="0 0 {WIDTH} {max(HEIGHT, bottom):.0f}"'
        f' aria-label="Floor">{hatching("wall-hatch", 20)}{"".join(body)}</svg>'
    )


def _scale(lane_height: float) -> float:
    return min(lane_height / SIX_LANES, 1.4)


def _indent(lane_height: float) -> float:
    return 52 * _scale(lane_height)


def _words_width(lane_height: float) -> float:
    return WORDS_RIGHT - WORDS_LEFT - _indent(lane_height)


def _lines(lane_height: float) -> int:
    return 2 if lane_height > 1.5 * SIX_LANES else 1


def _header(floor: Floor, local: Local) -> str:
    stale = stale_words(floor, local)
    parts = [
        text(NAME_LEFT, 66, 58, "Floor", style="bold"),
        text(WORDS_RIGHT, 66, 58, f"{local(floor.now):%H:%M}", style="bold end"),
        *(
            text(PLOT_LEFT + part * (PLOT_RIGHT - PLOT_LEFT), 120, 24, label, style=f"muted {_anchor(part)}")
            for label, part in grid_hours()
        ),
    ]
    left = 230
    width = WORDS_RIGHT - 190 - left
    if stale:
        parts.append(f'<rect class="stale" x="{left}" y="14" width="{width}" height="72" rx="8"/>')
        parts.append(symbol("silent", left + 42, 50, 20))
        said = set_text(stale, width=width - 96, largest=42, smallest=28, style="bold")
        parts.append(text(left + 78, 64, said.size, said.lines[0], style="bold", width=width - 96))
    else:
        said = set_text(counts(floor), width=width, largest=44, smallest=28)
        parts.append(text(left, 66, said.size, said.lines[0], style="muted", width=width))
    if not floor.lanes:
        parts.append(text(WIDTH / 2, 520, 58, "No press has reported yet", style="muted middle"))
        parts.append(text(WIDTH / 2, 590, 34, "A lane appears with the first shot.", style="muted middle"))
    return "".join(parts)


def _anchor(part: float) -> str:
    if part == 0.0:
        return ""
    return "end" if part == 1.0 else "middle"


def _panel(top: float, lane_height: float) -> str:
    return (
        f'<rect class="panel" x="{MARGIN}" y="{top:.1f}" width="{WIDTH - 2 * MARGIN}"'
        f' height="{lane_height:.1f}" rx="8"/>'
    )


def _link(lane: Lane, *parts: str) -> str:
    target = escape(f"press?press={quote(lane.name)}")
    return f'<a href="{target}" aria-label="{escape(lane.name)}">{"".join(parts)}</a>'


def _name(lane: Lane, top: float, lane_height: float) -> str:
    scale = min(_scale(lane_height), 1.25)
    style = "bold muted" if lane.activity == "idle" else "bold"
    blocks = [
        set_text(lane.name, width=NAME_WIDTH - 50, largest=64 * scale, smallest=30 * scale, style=style)
    ]
    blocks += [
        set_text(line, width=NAME_WIDTH, largest=25 * scale, smallest=18 * scale, style="muted")
        for line in run_words(lane)
        if line
    ]
    return stack(
        blocks, x=NAME_LEFT, indent=0, middle=top + lane_height / 2, width=NAME_WIDTH, gap=13 * scale
    )


def _picture(floor: Floor, lane: Lane, top: float, lane_height: float, stop_cycles: float) -> str:
    dot = 9 * _scale(lane_height)
    area = plot(floor, PLOT_LEFT, top + dot * 1.9, PLOT_RIGHT, top + lane_height - dot * 2.6)
    return picture(area, lane, dot=dot, hatch="wall-hatch", stop_cycles=stop_cycles)


def _first_limit_label(floor: Floor, lane_height: float) -> str:
    for index, lane in enumerate(floor.lanes):
        if has_limits(lane):
            top = LANES_TOP + index * (lane_height + GAP)
            dot = 9 * _scale(lane_height)
            area = plot(floor, PLOT_LEFT, top + dot * 1.9, PLOT_RIGHT, top + lane_height - dot * 2.6)
            return limit_label(area, 22)
    return ""
