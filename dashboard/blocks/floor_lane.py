"""The picture of one lane, the same in both layouts: hatching, limit, dots, hold. Pure."""

from __future__ import annotations

from dashboard.blocks.drawing import Text, set_text, text
from dashboard.blocks.lane_marks import Plot, hold_bars, marks, quiet_stretches
from dashboard.blocks.lane_words import Sentence
from dashboard.queries.floor import Lane

MARKS = {"signal": "signal", "silent": "silent", "calm": ""}


def picture(area: Plot, lane: Lane, *, dot: float, hatch: str, stop_cycles: float) -> str:
    """Everything between the edges of the time axis."""
    bar = dot * 1.1
    quiet = "".join(
        f'<rect x="{left:.1f}" y="{area.top:.1f}" width="{right - left:.1f}"'
        f' height="{area.bottom - area.top:.1f}" fill="url(#{hatch})"/>'
        for left, right in quiet_stretches(area, lane, stop_cycles)
    )
    return "".join(
        (
            f'<path class="zero" d="M{area.left:.1f} {area.bottom:.1f}H{area.right:.1f}"/>',
            _limit(area, lane),
            quiet,
            marks(area, lane.marks, dot),
            hold_bars(area, lane, area.bottom + dot * 0.6, bar),
        )
    )


def has_limits(lane: Lane) -> bool:
    """Whether any shot on the screen was judged."""
    return any(shot.share is not None for shot in lane.marks)


def _limit(area: Plot, lane: Lane) -> str:
    if not has_limits(lane):
        return ""
    return f'<path class="limit" d="M{area.left:.1f} {area.y(1.0):.1f}H{area.right:.1f}"/>'


def limit_label(area: Plot, size: float) -> str:
    """The word for the dashed line, left of the plot."""
    return text(area.left - 10, area.y(1.0) + size * 0.32, size, "limit", style="muted end")


def words(said: Sentence, *, width: float, scale: float, lines: int) -> list[Text]:
    """Headline, detail and act as texts that fit `width`; `scale` 1 is a lane of six on a wall."""
    style = "muted" if said.tone == "calm" else "bold"
    # Beyond a size that is read across the hall, larger words only crowd each other.
    grown = min(scale, 1.25)
    largest = (64 if said.tone != "calm" else 50) * grown
    blocks = [
        set_text(
            said.headline,
            width=width,
            largest=largest,
            smallest=44 * min(scale, 1),
            lines=lines,
            style=style,
            mark=MARKS[said.tone],
        )
    ]
    if said.detail:
        look = "" if said.tone != "calm" else "muted"
        blocks.append(
            set_text(
                said.detail, width=width, largest=28 * grown, smallest=22 * grown, lines=lines, style=look
            )
        )
    if said.act:
        blocks.append(
            set_text(
                said.act,
                width=width,
                largest=42 * grown,
                smallest=30 * grown,
                lines=lines,
                style="act bold",
                mark="hold",
            )
        )
    return blocks
