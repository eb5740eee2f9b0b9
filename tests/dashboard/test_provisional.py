"""What the screens say of limits that nobody has approved.

Effective size: Bayley and Hammersley (1946), n (1 - phi) / (1 + phi); 100 of it for usable limits is our own.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from streamlit.testing.v1 import AppTest

from collector.clock import wall_now
from collector.store import database, tables
from dashboard.blocks.lane_words import Sentence, sentence
from dashboard.blocks.provisional_words import rests_words
from dashboard.queries import provisional
from dashboard.queries.floor import read_floor

NOW = datetime(2026, 3, 3, 13, 52, tzinfo=UTC)


def approve_all(engine: sa.Engine) -> None:
    with database.write(engine) as conn:
        conn.execute(sa.update(tables.limits).values(standing="usable"))


def make_provisional(engine: sa.Engine, **baseline: float) -> None:
    stored = {"center": 1.0, "sigma": 0.1, "n": 25, "phi": 0.0, "sigma_method": "moving_range", **baseline}
    with database.write(engine) as conn:
        conn.execute(sa.update(tables.limits).values(standing="provisional", baseline=stored))


def lane(engine: sa.Engine, name: str) -> Sentence:
    with database.read(engine) as conn:
        floor = read_floor(conn, site="lowland", now=NOW, wall=wall_now())
    (found,) = [each for each in floor.lanes if each.name == name]
    return sentence(found, NOW, local=lambda moment: moment, provisional_shots=25)


def alarms_page() -> str:
    at = AppTest.from_file("../../dashboard/app_pages/alarms.py", default_timeout=30).run()
    assert not at.exception
    return "\n".join(str(each.value) for each in at.markdown)


def test_an_alarm_under_provisional_limits_says_what_they_cost(two_presses: sa.Engine) -> None:
    assert "Under provisional limits" not in alarms_page(), "those of P2 are usable"
    assert "provisional" not in lane(two_presses, "P2").detail

    make_provisional(two_presses)

    assert "Under provisional limits: Cushion" in alarms_page()
    assert "provisional limits" in lane(two_presses, "P2").detail


def test_the_cost_is_five_times_what_the_floor_allows() -> None:
    words = rests_words(["cushion", "mold_core_temperature"], 1.0)
    assert "Cushion, Mold core temperature" in words
    assert "may bring 5 times the false alarms that are allowed, here 5 a day" in words
    assert "here 12 a day" in rests_words(["cushion"], 2.4)


@pytest.mark.parametrize(
    ("phi", "needed"), [(0.0, 100), (0.5, 300), (0.9, 1_900)], ids=["independent", "phi 0.5", "phi 0.9"]
)
def test_a_study_is_offered_from_the_effective_size_of_usable_limits(
    two_presses: sa.Engine, phi: float, needed: int
) -> None:
    with database.read(two_presses) as conn:
        c = tables.shots.c
        steady = sa.select(c.run_id, sa.func.count()).where(c.phase.in_(("baseline", "charted")))
        run_id, count = conn.execute(steady.group_by(c.run_id).order_by(c.run_id)).all()[0]
        offered = provisional.can_be_studied(conn, run_id, [{"phi": phi}])
        assert not provisional.can_be_studied(conn, run_id, [])
        assert not provisional.can_be_studied(conn, None, [{"phi": phi}])
    assert offered == (count >= needed)
    assert 100 < count < 1_900, "one case is offered and one is not"


def test_the_floor_says_so_until_the_limits_are_approved(two_presses: sa.Engine) -> None:
    make_provisional(two_presses)
    assert lane(two_presses, "P1").detail.endswith("provisional limits, better ones can be studied now")
    make_provisional(two_presses, phi=0.9)
    assert lane(two_presses, "P1").detail.endswith("provisional limits")
    approve_all(two_presses)
    assert "provisional" not in lane(two_presses, "P1").detail


def test_the_press_page_says_that_some_are_provisional(two_presses: sa.Engine) -> None:
    def page() -> str:
        at = AppTest.from_file("../../dashboard/app_pages/press.py", default_timeout=30)
        at.query_params["press"] = "P1"
        at.run()
        assert not at.exception
        return "\n".join(str(each.value) for each in at.markdown)

    assert "Some are provisional: limits from few shots may bring 5 times" in page()
    approve_all(two_presses)
    assert "Some are provisional" not in page()
