"""The floor on a wall: 1920 x 1080, one lane per press, words at the right. Pure.

Sizes follow from reading at 5 m on a 55-inch screen: capitals of 20 minutes of arc are 29 mm or 46 pixels
high, a font of 64 (MIL-STD-1472 and ISO 9241-303 ask for 16 to 22 minutes; figures from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from urllib.parse import quote

from dashboard.blocks.drawing import Text, hatching, set_text, stack, symbol, text
from dashboard.blocks.floor_lane import has_limits, limit_label, picture
from dashboard.blocks.lane_marks import Plot, grid_hours, plot
from dashboard.blocks.lane_words import Local, counts, run_words, sentence, stale_words
from dashboard.blocks.text_width import text_width
from dashboard.blocks.wall_rows import RIGHT, SIX_LANES, SMALLEST_LANE, Row, rows
from dashboard.queries.floor_facts import Floor, Lane

WIDTH, HEIGHT = 1920, 1080
MARGIN, GAP = 20, 8
LANES_TOP, LANES_BOTTOM = 130, 1062
NAME_LEFT, NAME_WIDTH = 44, 262
PLOT_LEFT, PLOT_RIGHT = 330, 1000
NAME, RUN = 64.0, 25.0  # sizes of a press's name and of the lines about its run
LOW = 90.0  # a lane as low as this has its run beside the name instead of under it


def wall(floor: Floor, *, local: Local, provisional_shots: int, stop_cycles: float) -> str:
    """The drawing as SVG text."""
    count = len(floor.lanes)
    room = max(LANES_BOTTOM - LANES_TOP - GAP * (count - 1), SMALLEST_LANE * count)
    said = [
        sentence(lane, floor.now, local=local, provisional_shots=provisional_shots) for lane in floor.lanes
    ]
    look = Look(floor, min(room / max(count, 1) / SIX_LANES, 1.4), stop_cycles)
    body, labeled = [_header(floor, local)], False
    for lane, row in zip(floor.lanes, rows(said, top=LANES_TOP, room=room, gap=GAP), strict=True):
        body += [_link(lane, _panel(row), _name(lane, row)), look.picture(lane, row), row.said()]
        if has_limits(lane) and not labeled:
            body.append(limit_label(look.area(row), 22))
            labeled = True
    bottom = LANES_TOP + room + GAP * count
    tall = " tall" if bottom > HEIGHT else ""
    return (
        f'<svg class="wall{tall}" viewBox="0 0 {WIDTH} {max(HEIGHT, bottom):.0f}"'
        f' aria-label="Floor">{hatching("wall-hatch", 20)}{"".join(body)}</svg>'
    )


@dataclass(frozen=True, slots=True)
class Look:
    """What the pictures of all lanes have in common: the time axis, and dots of one size."""

    floor: Floor
    scale: float
    stop_cycles: float

    @property
    def dot(self) -> float:
        """Diameter of a dot."""
        return 9 * self.scale

    def area(self, row: Row) -> Plot:
        """Where the dots of a lane go."""
        top, bottom = row.top + self.dot * 1.9, row.top + row.height - self.dot * 2.6
        return plot(self.floor, PLOT_LEFT, top, PLOT_RIGHT, bottom)

    def picture(self, lane: Lane, row: Row) -> str:
        """Everything between the edges of the time axis."""
        area, cycles = self.area(row), self.stop_cycles
        return picture(area, lane, dot=self.dot, hatch="wall-hatch", stop_cycles=cycles)


def _header(floor: Floor, local: Local) -> str:
    stale = stale_words(floor, local)
    parts = [
        text(NAME_LEFT, 66, 58, "Floor", style="bold"),
        text(RIGHT, 66, 58, f"{local(floor.now):%H:%M}", style="bold end"),
        *(
            text(PLOT_LEFT + part * (PLOT_RIGHT - PLOT_LEFT), 120, 24, label, style=f"muted {_anchor(part)}")
            for label, part in grid_hours()
        ),
    ]
    left = 230
    width = RIGHT - 190 - left
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


def _panel(row: Row) -> str:
    return (
        f'<rect class="panel" x="{MARGIN}" y="{row.top:.1f}" width="{WIDTH - 2 * MARGIN}"'
        f' height="{row.height:.1f}" rx="8"/>'
    )


def _link(lane: Lane, *parts: str) -> str:
    target = escape(f"press?press={quote(lane.name)}")
    return f'<a href="{target}" aria-label="{escape(lane.name)}">{"".join(parts)}</a>'


def _name(lane: Lane, row: Row) -> str:
    """The press and what it makes: under each other, or in a low lane beside each other."""
    return _under(lane, row) if row.height > LOW else _beside(lane, row)


def _under(lane: Lane, row: Row) -> str:
    scale = min(row.height / SIX_LANES, 1.25)
    blocks = [_press(lane, NAME_WIDTH - 50, NAME * scale), *_run(lane, NAME_WIDTH, RUN * max(scale, 0.88))]
    return stack(blocks, x=NAME_LEFT, indent=0, middle=row.middle, width=NAME_WIDTH, gap=13 * scale)


def _beside(lane: Lane, row: Row) -> str:
    name = _press(lane, NAME_WIDTH / 2, min(0.75 * row.height, 42))
    left = text_width(name.lines[0], name.size, bold=True) + 14
    width = NAME_WIDTH - 40 - left  # the word for the limit stands at the same height
    run = _run(lane, width, min(0.42 * row.height, RUN * 0.9))
    return stack([name], x=NAME_LEFT, indent=0, middle=row.middle, width=NAME_WIDTH / 2, gap=0) + stack(
        run, x=NAME_LEFT + left, indent=0, middle=row.middle, width=width, gap=0.1 * row.height
    )


def _press(lane: Lane, width: float, largest: float) -> Text:
    style = "bold muted" if lane.activity == "idle" else "bold"
    return set_text(lane.name, width=width, largest=largest, smallest=largest * 0.47, style=style)


def _run(lane: Lane, width: float, largest: float) -> list[Text]:
    return [
        set_text(line, width=width, largest=largest, smallest=largest * 0.72, style="muted")
        for line in run_words(lane)
        if line
    ]
