"""What is not known is said in words or left out: no page shows Python's or pandas' own word for it."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.store import database, tables
from dashboard.blocks.press_frames import happenings
from dashboard.queries.press import press_names, read_view

MISSING = re.compile(r"\b(nan|NaT|NaN)\b|<NA>|(?<=[\w,:] )None\b|^None$")  # "None is approved" is a sentence
TEXTS = ("title", "header", "subheader", "markdown", "caption", "info", "text")
PAGES = ("press", "limits", "alarms", "gauging", "dome", "service", "run_audit")


@pytest.fixture
def little_known(six_presses: sa.Engine) -> sa.Engine:
    """A shop that tells neither mold nor blend, lot or color, no tray and no counter."""
    unknown = dict.fromkeys(("mold", "blend", "lot", "color"))
    with database.write(six_presses) as conn:
        conn.execute(sa.update(tables.runs).values(**unknown))
        conn.execute(sa.update(tables.shots).values(tray=None, tray_position=None))
        conn.execute(sa.update(tables.events).values(note=None, old=None))
    return six_presses


def shown(at: AppTest) -> list[str]:
    """Everything that is read on a page: texts, cells, and what lists offer."""
    texts = [str(each.value) for kind in TEXTS for each in getattr(at, kind)]
    cells = [str(cell) for each in (*at.table, *at.dataframe) for cell in each.value.to_numpy().ravel()]
    offered = [str(option) for each in (*at.selectbox, *at.multiselect) for option in each.options]
    return [*texts, *cells, *offered]


@pytest.mark.usefixtures("little_known")
@pytest.mark.parametrize("page", PAGES)
def test_a_page_says_nothing_in_the_words_of_a_program(page: str) -> None:
    at = AppTest.from_file(f"../../dashboard/app_pages/{page}.py", default_timeout=60).run()
    assert not at.exception
    read = shown(at)
    assert len(read) > 3, "the page is there"
    assert [words for words in read if MISSING.search(words)] == []


def test_the_lane_of_events_says_nothing_in_the_words_of_a_program(little_known: sa.Engine) -> None:
    with database.read(little_known) as conn:
        (first, last) = conn.execute(
            sa.select(sa.func.min(tables.events.c.at), sa.func.max(tables.events.c.at))
        ).one()
        views = [
            read_view(conn, press_id, keys=["cushion"], since=first, until=last)
            for press_id in press_names(conn, "lowland").values()
        ]
    words = [said for view in views for said in happenings(view, ZoneInfo("UTC"))["words"]]
    assert any("opened" in said for said in words)
    assert [said for said in words if MISSING.search(said)] == []


@pytest.mark.parametrize("words", ["R-DE nan", "lot None", "None", "tray: None", "NaT", "<NA>"])
def test_what_is_looked_for_is_found(words: str) -> None:
    assert MISSING.search(words)
