"""The floor on a tablet held upright: the sentence goes under the lane. Pure."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

from dashboard.blocks.drawing import Text, hatching, set_text, stack, symbol, text
from dashboard.blocks.floor_lane import Setting, has_limits, limit_label, picture, words
from dashboard.blocks.lane_marks import Plot, grid_hours, plot
from dashboard.blocks.lane_words import (
    Local,
    Sentence,
    counts,
    joined,
    run_words,
    sentence,
    stale_words,
)
from dashboard.blocks.text_width import text_width
from dashboard.queries.floor_facts import Floor, Lane

WIDTH, HEIGHT = 820, 1180
MARGIN, GAP, INSET = 12, 6, 28
PLOT_LEFT, PLOT_RIGHT = 78, WIDTH - INSET
LEFT, RIGHT = INSET, WIDTH - INSET
LANES_TOP = 133
NAME_ROW = 43
SMALLEST_PLOT, LARGEST_PLOT = 52.0, 420.0
INDENT = 36.0
LINE_GAP = 13.0
PADDING = 22.0


def tablet(floor: Floor, *, local: Local, provisional_shots: int, stop_cycles: float) -> str:
    """The drawing as SVG text; it grows downwards when the lanes need more than the screen."""
    said = [
        _words(sentence(lane, floor.now, local=local, provisional_shots=provisional_shots))
        for lane in floor.lanes
    ]
    plot_height = _plot_height([_words_height(blocks) for blocks in said])
    body, top, labeled = [_header(floor, local)], float(LANES_TOP), False
    for lane, blocks in zip(floor.lanes, said, strict=True):
        lane_height = NAME_ROW + plot_height + _words_height(blocks)
        body.append(_lane(floor, lane, blocks, top=top, plot_height=plot_height, stop_cycles=stop_cycles))
        if has_limits(lane) and not labeled:
            body.append(limit_label(_area(floor, top, plot_height), 18))
            labeled = True
        top += lane_height + GAP
    return (
        f'<svg class="tablet" viewBox="0 0 {WIDTH} {max(HEIGHT, top + MARGIN):.0f}" aria-label="Floor">'
        f"{hatching('tablet-hatch', 14)}{''.join(body)}</svg>"
    )


def _words(said: Sentence) -> list[Text]:
    """A calm lane says everything in one line, so that six lanes fit the screen."""
    return words(said, Setting(RIGHT - LEFT - INDENT, scale=0.62, lines=2, one_row=True))


def _words_height(blocks: list[Text]) -> float:
    return sum(block.height for block in blocks) + LINE_GAP * (len(blocks) - 1) + PADDING


def _plot_height(others: list[float]) -> float:
    """What the other parts leave of the screen, shared by the lanes, within reason."""
    if not others:
        return SMALLEST_PLOT
    free = HEIGHT - LANES_TOP - MARGIN - sum(others) - len(others) * (NAME_ROW + GAP)
    return min(max(free / len(others), SMALLEST_PLOT), LARGEST_PLOT)


def _header(floor: Floor, local: Local) -> str:
    stale = stale_words(floor, local)
    width = RIGHT - LEFT
    parts = [
        text(LEFT, 50, 42, "Floor", style="bold"),
        text(RIGHT, 50, 42, f"{local(floor.now):%H:%M}", style="bold end"),
        *(
            text(
                PLOT_LEFT + part * (PLOT_RIGHT - PLOT_LEFT),
                126,
                18,
                label,
                style="muted " + ("" if part == 0 else "end" if part == 1 else "middle"),
            )
            for label, part in grid_hours()
        ),
    ]
    if stale:
        parts.append(
            f'<rect class="stale" x="{MARGIN}" y="62" width="{WIDTH - 2 * MARGIN}" height="46" rx="6"/>'
        )
        parts.append(symbol("silent", LEFT + 14, 85, 12))
        said = set_text(stale, width=width - 46, largest=26, smallest=17, style="bold")
        parts.append(text(LEFT + 38, 93, said.size, said.lines[0], style="bold", width=width - 46))
    else:
        said = set_text(counts(floor), width=width, largest=28, smallest=18)
        parts.append(text(LEFT, 94, said.size, said.lines[0], style="muted", width=width))
    if not floor.lanes:
        parts.append(text(WIDTH / 2, 520, 36, "No press has reported yet", style="muted middle"))
        parts.append(text(WIDTH / 2, 570, 24, "A lane appears with the first shot.", style="muted middle"))
    return "".join(parts)


def _area(floor: Floor, top: float, plot_height: float) -> Plot:
    return plot(floor, PLOT_LEFT, top + NAME_ROW + 8, PLOT_RIGHT, top + NAME_ROW + plot_height - 12)


def _lane(
    floor: Floor, lane: Lane, blocks: list[Text], *, top: float, plot_height: float, stop_cycles: float
) -> str:
    height = NAME_ROW + plot_height + _words_height(blocks)
    words_middle = top + NAME_ROW + plot_height + _words_height(blocks) / 2
    target = escape(f"press?press={quote(lane.name)}")
    return "".join(
        (
            f'<a href="{target}" aria-label="{escape(lane.name)}">'
            f'<rect class="panel" x="{MARGIN}" y="{top:.1f}"'
            f' width="{WIDTH - 2 * MARGIN}" height="{height:.1f}" rx="8"/>',
            _name(lane, top),
            "</a>",
            picture(
                _area(floor, top, plot_height), lane, dot=7, hatch="tablet-hatch", stop_cycles=stop_cycles
            ),
            stack(blocks, x=LEFT, indent=INDENT, middle=words_middle, width=RIGHT - LEFT, gap=LINE_GAP),
        )
    )


def _name(lane: Lane, top: float) -> str:
    style = "bold muted" if lane.activity == "idle" else "bold"
    name = set_text(lane.name, width=300, largest=40, smallest=24, style=style)
    left = LEFT + text_width(name.lines[0], name.size, bold=True) + 20
    run = set_text(joined(run_words(lane)), width=RIGHT - left, largest=22, smallest=16, style="muted")
    return text(LEFT, top + 37, name.size, name.lines[0], style=style, width=300) + text(
        left, top + 37, run.size, run.lines[0], style="muted", width=RIGHT - left
    )
