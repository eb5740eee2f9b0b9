"""The audit as Chromium would print it: A4 less the margins, at 96 pixels an inch."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from collector.settings import Settings
from collector.store import database
from dashboard.audit import find, render
from dashboard.audit.audit import audit
from dashboard.audit.collect import collect
from tests.dashboard.audit import floor

pytestmark = pytest.mark.chromium

MM = 96 / 25.4
WIDTH, HEIGHT = int((210 - 2 * 13) * MM), int((297 - 14 - 16) * MM)
WIDER = "all => all.filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent)"


@pytest.fixture
def paper(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """The audit of a run with a drift, gauged, laid out for paper."""
    engine = floor.new_store(tmp_path)
    floor.store_run(engine, tmp_path)
    floor.gauge(engine, tmp_path)
    with database.read(engine) as conn:
        run_id = find.by_name(conn, floor.RUN)
        evidence = collect(conn, run_id, settings=Settings(), taken_at=floor.NOW)
    engine.dispose()
    page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
    page.emulate_media(media="print")
    page.set_content(render.html(audit(evidence, ZoneInfo("UTC"))))
    yield page
    page.close()


def test_no_chart_and_no_alarm_is_taller_than_a_page_and_nothing_is_wider(paper: Any) -> None:
    """What may not break inside, and is not taller than a page, is never cut."""
    for kind in ("figure", "article", "tr", ".statements li"):
        heights = paper.locator(kind).evaluate_all("all => all.map(e => e.getBoundingClientRect().height)")
        breaks = paper.locator(kind).evaluate_all("all => all.map(e => getComputedStyle(e).breakInside)")
        assert heights, kind
        assert max(heights) < HEIGHT, kind
        assert set(breaks) <= {"avoid", "avoid-page"}, kind
    assert paper.locator("table, figure").evaluate_all(WIDER) == []


def test_a_heading_stays_with_what_follows(paper: Any) -> None:
    headings = paper.locator("h2, h3").evaluate_all("all => all.map(e => getComputedStyle(e).breakAfter)")
    assert len(headings) > 10
    assert set(headings) == {"avoid"}


def test_it_prints_on_several_pages_of_a4(paper: Any) -> None:
    printed: bytes = paper.pdf(prefer_css_page_size=True)
    assert printed.startswith(b"%PDF")
    assert printed.count(b"/MediaBox") == printed.count(b"/MediaBox [0 0 594.95996 841.91998]") > 2
