"""Small pieces of the floor's SVG: text that fits, and the three marks that stand beside words. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from dashboard.blocks.text_width import falling, fit

CAP = 0.72  # height of a capital, as a part of the font size
LEADING = 1.14  # from one base line to the next inside one text


@dataclass(frozen=True, slots=True)
class Text:
    """Lines already broken, with their size, look and the mark in front of the first."""

    lines: tuple[str, ...]
    size: float
    style: str = ""
    mark: str = ""

    @property
    def height(self) -> float:
        """From the top of the first capital to the last base line."""
        return self.size * (CAP + LEADING * (len(self.lines) - 1))


def text(x: float, y: float, size: float, words: str, *, style: str = "", width: float | None = None) -> str:
    """One line with its base line at `y`; the browser squeezes it to `width` where its font is wider."""
    fits = "" if width is None else f' data-fit="{width:.0f}"'
    look = f' class="{style}"' if style else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}"{look}{fits}>{escape(words)}</text>'


def set_text(
    words: str,
    *,
    width: float,
    largest: float,
    smallest: float,
    lines: int = 1,
    style: str = "",
    mark: str = "",
) -> Text:
    """Choose size and line breaks for `words`: one line as long as it is readable, else up to `lines`."""
    sizes, bold = falling(largest, smallest), "bold" in style
    broken, size = fit(words, width=width, sizes=sizes, bold=bold)
    if lines > 1 and broken[-1].endswith("…"):
        broken, size = fit(words, width=width, sizes=sizes, lines=lines, bold=bold)
    return Text(tuple(broken), size, style, mark)


def stack(blocks: Sequence[Text], *, x: float, indent: float, middle: float, width: float, gap: float) -> str:
    """Texts under each other, centered on `middle`, their marks in a column of width `indent`."""
    total = sum(block.height for block in blocks) + gap * (len(blocks) - 1)
    y = middle - total / 2
    drawn = []
    for block in blocks:
        cap = block.size * CAP
        drawn.append(symbol(block.mark, x + indent * 0.36, y + cap / 2, min(cap * 0.5, indent * 0.36)))
        for index, line in enumerate(block.lines):
            base = y + cap + index * block.size * LEADING
            drawn.append(text(x + indent, base, block.size, line, style=block.style, width=width - indent))
        y += block.height + gap
    return "".join(drawn)


def symbol(mark: str, x: float, y: float, half: float) -> str:
    """The mark beside a word: ``signal`` and ``silent`` are diamonds, ``hold`` is a square."""
    if not mark:
        return ""
    if mark == "hold":
        side = half * 0.84
        return (
            f'<rect class="hold" x="{x - side:.1f}" y="{y - side:.1f}"'
            f' width="{2 * side:.1f}" height="{2 * side:.1f}"/>'
        )
    path = f"M{x:.1f} {y - half:.1f}l{half:.1f} {half:.1f}l{-half:.1f} {half:.1f}l{-half:.1f} {-half:.1f}z"
    return f'<path class="{mark}" d="{path}" stroke-width="{max(half / 7, 2):.1f}"/>'


def hatching(name: str, step: float) -> str:
    """A pattern of slanted lines, named so that each layout has its own."""
    return (
        f'<defs><pattern id="{name}" width="{step}" height="{step}" patternUnits="userSpaceOnUse"'
        f' patternTransform="rotate(45)"><rect class="hatch-back" width="{step}" height="{step}"/>'
        f'<rect class="hatch-line" width="{step * 0.3:.1f}" height="{step}"/></pattern></defs>'
    )
