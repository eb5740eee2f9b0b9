"""A person studies a run on the press page and approves its limits."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

import dashboard
from collector.store import database
from collector.store.tables import journal, limits

PAGE = Path(dashboard.__file__).parent / "app_pages" / "press.py"


@pytest.fixture
def studied(two_presses: sa.Engine) -> AppTest:
    at = AppTest.from_file(str(PAGE), default_timeout=30).run()
    at.selectbox(key="press").select("P1").run()
    return at.toggle(key="study_shown").set_value(True).run()


def approved(engine: sa.Engine) -> list[tuple[str, str]]:
    query = sa.select(limits.c.key, limits.c.approved_by).where(limits.c.reason == "a sound shift")
    with database.read(engine) as conn:
        return [tuple(row) for row in conn.execute(query)]


def test_the_study_says_what_it_would_set_and_what_it_rests_on(studied: AppTest) -> None:
    assert not studied.exception
    table = studied.table[0].value
    assert {"Center", "Sigma", "Limits of a single shot", "Rests on", "Standing", "To know"} <= set(table)
    cushion = table.loc["Cushion"]
    assert cushion["Center"].endswith(" mm")
    assert "shots, worth" in cushion["Rests on"]


def test_approving_needs_a_reason(studied: AppTest, two_presses: sa.Engine) -> None:
    studied.button[-1].click().run()

    assert any("say in a few words" in warning.value.lower() for warning in studied.warning)
    assert approved(two_presses) == []


def test_approved_limits_are_stored_with_who_and_why_and_journaled(
    studied: AppTest, two_presses: sa.Engine
) -> None:
    studied.text_input(key="approve_why").set_value("a sound shift")
    studied.button[-1].click().run()

    assert not studied.exception
    found = approved(two_presses)
    assert ("cushion", studied.selectbox(key="approve_who").value) in found
    with database.read(two_presses) as conn:
        assert "approve limits" in conn.execute(sa.select(journal.c.action)).scalars().all()
