"""The picture of one lane, the same in both layouts: hatching, limit, dots, hold. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.blocks.drawing import Text, set_text, text
from dashboard.blocks.lane_marks import Plot, hold_bars, marks, quiet_stretches
from dashboard.blocks.lane_words import Sentence, joined
from dashboard.queries.floor_facts import Lane

MARKS = {"signal": "signal", "silent": "silent", "calm": ""}
# Sizes of a lane of six on a wall, and of the detail beside them the smallest and the largest.
HEADLINE, CALM, ACT = 64.0, 50.0, 42.0
DETAIL, DETAIL_OF_TWO = (22.0, 28.0), (30.0, 34.0)
LEAST = 20.0  # nothing is set smaller while it fits
ONE_ROW, LEAST_ROW = 36.0, 28.0
NO_BREAK = "\N{NO-BREAK SPACE}"
SEPARATOR = " · "


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


@dataclass(frozen=True, slots=True)
class Setting:
    """How the words of a lane are set.

    `scale` 1 is a lane of six on a wall. `lines` of a headline or an act, `detail_lines` of what stands
    between. `one_row`: a lane with nothing to tell says it in one line.
    """

    width: float
    scale: float = 1.0
    lines: int = 1
    detail_lines: int = 1
    one_row: bool = False


def words(said: Sentence, setting: Setting) -> list[Text]:
    """Headline, detail and act as texts that fit the width."""
    if setting.one_row and said.tone == "calm" and not said.act:
        return [_one_row(said, setting)]
    width, lines = setting.width, setting.lines
    calm = said.tone == "calm"
    # Beyond a size that is read across the hall, larger words only crowd each other.
    grown = min(setting.scale, 1.25)
    blocks = [
        set_text(
            said.headline,
            width=width,
            largest=(CALM if calm else HEADLINE) * grown,
            smallest=44 * min(setting.scale, 1),
            lines=lines,
            style="muted" if calm else "bold",
            mark=MARKS[said.tone],
        )
    ]
    if said.detail:
        blocks.append(_detail(said.detail, setting, grown, "muted" if calm else ""))
    if said.act:
        sizes = {"largest": ACT * grown, "smallest": 30 * grown}
        blocks.append(set_text(said.act, width=width, lines=lines, style="act bold", mark="hold", **sizes))
    return blocks


def _one_row(said: Sentence, setting: Setting) -> Text:
    line, largest = joined([said.headline, said.detail]), max(ONE_ROW * min(setting.scale, 1), LEAST_ROW)
    return set_text(line, width=setting.width, largest=largest, smallest=LEAST * 0.8, style="muted")


def _detail(said: str, setting: Setting, grown: float, style: str) -> Text:
    """In one line, or larger in two where there is the room; a line ends between two parts if it can.

    Parts for which there is no room are left out from the end.
    """
    low, high = DETAIL if setting.detail_lines == 1 else DETAIL_OF_TWO

    def set_as(text_of: str) -> Text:
        return set_text(
            text_of,
            width=setting.width,
            largest=max(high * grown, LEAST),
            smallest=max(low * grown, LEAST * 0.8),
            lines=max(setting.lines, setting.detail_lines),
            style=style,
        )

    parts = said.split(SEPARATOR)
    whole = set_as(SEPARATOR.join(part.replace(" ", NO_BREAK) for part in parts))
    found = set_as(said) if _is_cut(whole) else whole
    # What stands last matters least, and half a cause may read as another: it goes as a whole.
    if _is_cut(found) and len(parts) > 1:
        return _detail(SEPARATOR.join(parts[:-1]), setting, grown, style)
    return found


def _is_cut(block: Text) -> bool:
    return block.lines[-1].endswith("…")
