"""Contrast of the theme, by the formula of WCAG 2.2 (contrast ratio, relative luminance; 1.4.3 asks 4.5)."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

import dashboard
from dashboard.app import DARK_BUTTONS

THEME = tomllib.loads((Path(dashboard.__file__).parent / "theme.toml").read_text(encoding="utf-8"))["theme"]
CAPTION = 0.6  # how much of the text color Streamlit gives a caption; read from the browser's computed style


def rgb(color: str) -> list[float]:
    return [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]


def luminance(color: list[float]) -> float:
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in color]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: list[float], other: list[float]) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_ends_of_the_standard() -> None:
    assert contrast(rgb("#000000"), rgb("#ffffff")) == pytest.approx(21.0)
    assert contrast(rgb("#777777"), rgb("#ffffff")) == pytest.approx(4.48, abs=0.005)  # just below AA


@pytest.mark.parametrize("side", ["light", "dark"])
def test_captions_are_readable(side: str) -> None:
    text, back = rgb(THEME[side]["textColor"]), rgb(THEME[side]["backgroundColor"])
    faded = [CAPTION * ink + (1 - CAPTION) * paper for ink, paper in zip(text, back, strict=True)]
    assert contrast(faded, back) >= 4.5


def test_words_on_buttons_are_readable() -> None:
    assert contrast(rgb("#ffffff"), rgb(THEME["primaryColor"])) >= 4.5
    (ink,) = re.findall(r"#[0-9a-f]{6}", DARK_BUTTONS)
    assert contrast(rgb(ink), rgb(THEME["dark"]["primaryColor"])) >= 4.5
