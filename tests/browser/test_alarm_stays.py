"""The alarm that somebody acted on stays before them in Chromium, where a list that changes is drawn anew."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.chromium


def test_after_acknowledging_the_same_alarm_is_shown(serve: Callable[..., str], browser: Any) -> None:
    page = browser.new_page(viewport={"width": 1440, "height": 1200})
    page.goto(f"{serve('P3', 'P2')}/alarms")
    page.get_by_role("button", name="Acknowledge").wait_for(timeout=60_000)
    heading = page.get_by_role("heading", name=re.compile("^P2: Mold core"))
    heading.wait_for()
    page.get_by_role("combobox").locator("visible=true").first.click()
    page.get_by_role("option", name="operator 1").click()
    page.get_by_role("button", name="Acknowledge").click()
    page.get_by_role("radio", name=re.compile("operator 1 has it")).wait_for(timeout=60_000)
    page.get_by_text("Close it with a cause").wait_for(timeout=60_000)

    assert page.get_by_role("radio", name=re.compile("operator 1 has it")).is_checked()
    assert heading.count() == 1
    page.close()
