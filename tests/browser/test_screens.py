"""Every screen in Chromium, on a wall and on a tablet: nothing cut off, the key words there."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import dashboard
from dashboard.app import PAGES

pytestmark = pytest.mark.chromium

WALL, TABLET = (1920, 1080), (820, 1180)
SIX = ("P1", "P2", "P3", "P4", "P5", "P6")
Serve = Callable[..., str]


@contextmanager
def opened(browser: Any, address: str, size: tuple[int, int]) -> Iterator[Any]:
    """A page at an address, with whatever its scripts complained about collected."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(address)
    yield page
    assert complaints == []
    page.close()


def assert_no_overflow(page: Any) -> None:
    """Nothing is wider than the window, and no text of the drawing leaves it."""
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def boxes(page: Any, layout: str) -> list[tuple[str, dict[str, float]]]:
    """Text and place of every line in the visible drawing."""
    texts = page.locator(f"svg.{layout} text")
    found: list[tuple[str, dict[str, float]]] = texts.evaluate_all(
        "all => all.map(t => { const b = t.getBoundingClientRect();"
        " return [t.textContent, {left: b.left, right: b.right, top: b.top, bottom: b.bottom}]; })"
    )
    return found


@pytest.mark.parametrize("theme", ["", "?theme=dark"])
@pytest.mark.parametrize(("size", "layout"), [(WALL, "wall"), (TABLET, "tablet")])
@pytest.mark.parametrize("presses", [("P2",), ("P1", "P2"), SIX])
def test_the_floor_shows_every_lane_in_full(
    browser: Any,
    serve: Serve,
    tmp_path: Path,
    *,
    presses: tuple[str, ...],
    size: tuple[int, int],
    layout: str,
    theme: str,
) -> None:
    with opened(browser, f"{serve(*presses)}/{theme}", size) as page:
        page.locator(f"svg.{layout} text", has_text=re.compile("Mold core 3.1.°C warmer")).wait_for()
        page.screenshot(path=str(tmp_path / f"floor-{len(presses)}-{layout}{theme[-4:]}.png"))
        assert_no_overflow(page)
        lines = boxes(page, layout)
        assert {"Floor", *presses} <= {words for words, _ in lines}
        for words, box in lines:
            assert box["left"] >= 0, words
            assert box["right"] <= size[0], words
            if layout == "wall":
                assert box["bottom"] <= size[1], words
        assert not page.locator(f"svg.{'tablet' if layout == 'wall' else 'wall'}").is_visible()
        assert not _overlapping(lines), _overlapping(lines)
        covers = page.locator(".floor").bounding_box()
        assert (covers["x"], covers["y"], covers["width"], covers["height"]) == (0, 0, *size)


def _overlapping(lines: list[tuple[str, dict[str, float]]]) -> list[tuple[str, str]]:
    """Pairs of texts that cover each other; line boxes may touch, since they are taller than letters."""
    found = []
    for index, (one, a) in enumerate(lines):
        for other, b in lines[index + 1 :]:
            wide = min(a["right"], b["right"]) - max(a["left"], b["left"])
            high = min(a["bottom"], b["bottom"]) - max(a["top"], b["top"])
            smaller = min(a["bottom"] - a["top"], b["bottom"] - b["top"])
            if wide > 2 and high > 0.35 * smaller:
                found.append((one, other))
    return found


def test_the_floor_tells_a_stopped_collector_and_moves_by_itself(browser: Any, serve: Serve) -> None:
    with opened(browser, serve("P1", "P2", "P3", alive=False), WALL) as page:
        page.locator("svg.wall text", has_text="The collector has stopped").wait_for()
        before = page.locator("svg.wall").inner_html()
        page.wait_for_timeout(2_500)
        assert page.locator("svg.wall").inner_html() != before


# Looks at every frame for some seconds: what lies at the place of the menu, and how solid the drawing is.
WATCH = """seconds => new Promise(done => {
  const told = new Set(), end = performance.now() + 1000 * seconds;
  const look = () => {
    told.add(document.elementFromPoint(60, 20)?.closest("header") ? "menu" : "drawing");
    for (const each of document.querySelectorAll("[data-testid=stElementContainer]"))
      if (getComputedStyle(each).opacity !== "1") told.add("faded");
    performance.now() < end ? requestAnimationFrame(look) : done([...told]);
  };
  look();
})"""


def test_the_floor_neither_fades_nor_shows_the_menu_while_it_is_drawn_again(
    browser: Any, serve: Serve
) -> None:
    with opened(browser, serve("P1", "P2"), WALL) as page:
        page.locator("svg.wall text", has_text="Floor").wait_for()
        assert page.evaluate(WATCH, 5) == ["drawing"]


def test_an_empty_floor_says_what_will_come(browser: Any, serve: Serve) -> None:
    with opened(browser, serve(), WALL) as page:
        page.locator("svg.wall text", has_text="No press has reported yet").wait_for()


def test_a_lane_leads_to_its_press(browser: Any, serve: Serve) -> None:
    with opened(browser, serve("P1", "P2"), WALL) as page:
        page.locator("svg.wall text", has_text=re.compile("^P2$")).click()
        page.wait_for_url(re.compile(r"/press\?press=P2"))
        page.get_by_role("heading", name="Press", exact=True).wait_for()


@pytest.mark.parametrize("size", [WALL, TABLET])
def test_the_press_page_draws_charts_with_units_and_opens_a_shot(
    browser: Any, serve: Serve, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, f"{serve('P1', 'P2')}/press?press=P2", size) as page:
        charts = page.locator("[data-testid=stVegaLiteChart]")
        charts.nth(3).wait_for()
        page.get_by_text("Mold core temperature (°C)").first.wait_for()
        page.wait_for_timeout(1_000)
        page.screenshot(path=str(tmp_path / f"press-{size[0]}.png"))
        assert_no_overflow(page)
        place = charts.nth(1).bounding_box()
        page.mouse.click(place["x"] + place["width"] * 0.6, place["y"] + place["height"] * 0.6)
        page.get_by_role("dialog").wait_for()
        page.wait_for_timeout(1_000)
        page.screenshot(path=str(tmp_path / f"press-shot-{size[0]}.png"))
        assert "P2, shot" in page.get_by_role("dialog").inner_text()


@pytest.mark.parametrize("size", [WALL, TABLET])
@pytest.mark.parametrize("module", [row.module for row in PAGES if row.module not in ("floor", "press")])
def test_every_other_page_fits_the_screen(
    browser: Any, serve: Serve, tmp_path: Path, module: str, size: tuple[int, int]
) -> None:
    assert (Path(dashboard.__file__).parent / "app_pages" / f"{module}.py").exists()
    with opened(browser, f"{serve('P1', 'P2')}/{module}", size) as page:
        page.get_by_role("heading").first.wait_for()
        page.wait_for_timeout(1_500)
        page.screenshot(path=str(tmp_path / f"{module}-{size[0]}.png"), full_page=True)
        assert page.locator("[data-testid=stException]").count() == 0
        assert_no_overflow(page)


def test_no_screen_asks_anybody_outside_the_shop(browser: Any, serve: Serve) -> None:
    address = serve("P1", "P2")
    page = browser.new_page(viewport={"width": WALL[0], "height": WALL[1]})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for row in PAGES:
        page.goto(f"{address}/{row.module}")
        page.wait_for_load_state("networkidle")
    page.close()

    outside = [url for url in asked if not url.startswith((address, "data:", "blob:"))]
    assert outside == []
