"""How the lanes share the height of the wall: whoever has more to say gets more room. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from dashboard.blocks.drawing import Text, stack
from dashboard.blocks.floor_lane import Setting, words
from dashboard.blocks.lane_words import Sentence

LEFT, RIGHT = 1034, 1884
INDENT = 52.0  # for the marks before the words
LINE_GAP, PADDING = 17.0, 30.0
SIX_LANES = 148.0  # height of a lane of six; every size is drawn for it and scaled
SMALLEST_LANE = 56.0
LEAST_WANTED = 80.0  # dots need their room too
_FULL = Setting(RIGHT - LEFT - INDENT)
# From the roomiest to the tightest; the first that fits the height is taken.
SETTINGS = (replace(_FULL, detail_lines=2), _FULL, replace(_FULL, one_row=True))


@dataclass(frozen=True, slots=True)
class Row:
    """One lane's place on the wall and its words, set for it."""

    top: float
    height: float
    scale: float
    words: list[Text]

    @property
    def middle(self) -> float:
        """Half way down."""
        return self.top + self.height / 2

    def said(self) -> str:
        """The words as SVG text, beside the lane."""
        indent, gap = INDENT * self.scale, LINE_GAP * self.scale**1.5
        return stack(self.words, x=LEFT, indent=indent, middle=self.middle, width=RIGHT - LEFT, gap=gap)


def rows(said: Sequence[Sentence], *, top: float, room: float, gap: float) -> list[Row]:
    """Places of all lanes under each other, `gap` apart, and their words as large as the places allow.

    Parameters
    ----------
    said : sequence of Sentence
        What each lane says, from the top.
    top, room, gap : float
        Where the first lane begins, the height of all lanes without the gaps, and a gap.

    Returns
    -------
    list of Row
    """
    # Of fifty lanes nobody need measure what even the shortest words leave no room for.
    for setting in SETTINGS if len(said) * LEAST_WANTED <= room else SETTINGS[-1:]:
        wanted = [_height(words(each, setting)) for each in said]
        if sum(wanted) <= room:
            break
    placed = []
    for each, full, height in zip(said, wanted, shared(wanted, room), strict=True):
        scale = min(max(height / max(full, SIX_LANES), 1.0), 1.4) if height >= full else height / full
        placed.append(Row(top, height, scale, words(each, _scaled(setting, scale, height))))
        top += height + gap
    return placed


def _height(blocks: Sequence[Text]) -> float:
    return max(sum(block.height for block in blocks) + LINE_GAP * (len(blocks) - 1) + PADDING, LEAST_WANTED)


def _scaled(setting: Setting, scale: float, height: float) -> Setting:
    lines = 2 if height > 1.5 * SIX_LANES else 1
    return replace(setting, scale=scale, width=RIGHT - LEFT - INDENT * scale, lines=lines)


def shared(wanted: Sequence[float], room: float) -> list[float]:
    """Heights that fill `room`, in the order of the lanes.

    Lanes are alike as long as each has what it wants: a wall that moves with every alarm is hard to read.
    Where that is not enough, those who want more get it and the others stay alike; where even that is too
    much, all are smaller by the same factor.

    Parameters
    ----------
    wanted : sequence of float
        What each lane needs for its words at their full size, positive.
    room : float
        Height for all of them, without the gaps.

    Returns
    -------
    list of float
    """
    total = sum(wanted)
    if total > room:
        return [each * room / total for each in wanted]
    level = _level(sorted(wanted), room)
    return [max(each, level) for each in wanted]


def _level(rising: list[float], room: float) -> float:
    """The height of all lanes that do not want more than it."""
    while rising and rising[-1] > room / len(rising):
        room -= rising.pop()
    return room / max(len(rising), 1)
