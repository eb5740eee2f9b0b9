"""Labels of widgets that stand in one row stand on one line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.test_screens import opened

pytestmark = pytest.mark.chromium
WIDE = (1440, 900)
LABELS = "[data-testid=stWidgetLabel]"


@pytest.mark.parametrize(
    ("page_name", "names"),
    [
        ("press", ("Press", "Time", "Also show")),
        ("gauging", ("Gauge", "Characteristic")),
        ("limits", ("Press", "Run to study", "Try on its last")),
        ("dome", ("Characteristic", "A disc is flagged by", "Gauged in the last")),
    ],
)
def test_labels_of_a_row_stand_on_one_line(
    browser: Any, serve: Callable[..., str], page_name: str, names: tuple[str, ...], tmp_path: Any
) -> None:
    with opened(browser, f"{serve('P1', 'P2')}/{page_name}", WIDE) as page:
        places = {}
        for name in names:
            label = page.locator(LABELS).get_by_text(name, exact=True).first
            label.wait_for()
            box = label.bounding_box()
            places[name] = box["y"] + box["height"] / 2
        page.screenshot(path=str(tmp_path / f"{page_name}.png"))
    assert max(places.values()) - min(places.values()) <= 1, places
