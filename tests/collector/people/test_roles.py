"""Every act that is written down has its row in the table of roles, and pages cannot go around it."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

import collector
from collector.actions import alarms, gaugings, holds
from collector.alarms import lifecycle
from collector.clock import real_clock, wall_now
from collector.errors import NotAllowed
from collector.people import codes
from collector.people.roles import ACTS, ROLES
from collector.store import holds as hold_store
from collector.store.database import read
from collector.store.gaugings import Listed
from collector.store.tables import journal
from tests.store_fixtures import Seeded

HOME = Path(collector.__file__).parent
ACTIONS = sorted(path.stem for path in (HOME / "actions").glob("[!_]*.py"))


def literal_acts() -> set[tuple[str, str]]:
    """Acts that some module of the service gives to the journal as a plain text, with the module."""
    found = set()
    for path in HOME.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = ast.unparse(node.func)
            named = [each.value for each in node.keywords if each.arg == "action"]
            if called == "journal.append" or called.endswith("_write_down"):
                texts = named + (node.args if called.endswith("_write_down") else [])
                found |= {
                    (each.value, path.name)
                    for each in texts
                    if isinstance(each, ast.Constant) and isinstance(each.value, str)
                }
    return found


def composed_acts() -> set[str]:
    """Acts whose name is put together from an event of an alarm or what became of a hold."""
    by_people = set(lifecycle.EVENTS) - {
        "occur", "clear", "reoccur", "realarm", "hold", "reset", "suppress", "unsuppress",
    }  # fmt: skip
    decided = (hold_store.RELEASED, hold_store.SORTED, hold_store.SCRAPPED, hold_store.REOPENED)
    return {f"alarm {event}" for event in by_people} | {f"hold {state}" for state in decided}


def test_every_act_that_is_written_down_is_in_the_table() -> None:
    acts = literal_acts()

    assert {"approve limits", "account disabled", "channel tested"} <= {act for act, _ in acts}
    assert sorted((act, where) for act, where in acts if act not in ACTS) == []
    assert composed_acts() <= ACTS.keys()


@pytest.mark.parametrize("act", ACTS.values(), ids=list(ACTS))
def test_a_row_names_known_roles_or_the_service(act: Any) -> None:
    assert set(act.roles) <= set(ROLES)
    assert act.roles or act.service


def test_nothing_that_changes_limits_or_accounts_is_done_by_pin() -> None:
    strong = [name for name in ACTS if "limits" in name or name.startswith("account")]

    assert len(strong) >= 6
    assert not [name for name in strong if ACTS[name].pin]


@pytest.mark.parametrize("module", ACTIONS)
def test_every_action_takes_who_and_leads_to_the_journal(module: str) -> None:
    """An action is a public function that takes `who`; the journal is where the role is looked at."""
    found = import_module(f"collector.actions.{module}")
    text = inspect.getsource(found)
    takes_who = [
        name
        for name, function in inspect.getmembers(found, inspect.isfunction)
        if function.__module__ == found.__name__ and "who" in inspect.signature(function).parameters
    ]
    if takes_who and "journal.append" not in text:
        # It hands on to a module that does.
        assert any(f"import {other}" in text or f"{other} import" in text for other in ACTIONS)


def test_pages_never_speak_for_the_terminal() -> None:
    pages = Path(HOME.parent / "dashboard").rglob("*.py")

    assert not [path.name for path in pages if "at_terminal" in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("who", ["operator 1", "service"])
def test_an_action_of_a_page_is_refused_without_its_role(seeded: Seeded, who: str) -> None:
    """Called with a name that was only typed, on a floor with accounts, every one of them changes nothing."""
    engine, clock = seeded.engine, real_clock()
    codes.first_admin_code(engine, wall=wall_now())
    first, last = seeded.shot_ids[0], seeded.shot_ids[9]
    attempts: list[Callable[[], object]] = [
        lambda: holds.open_by_hand(
            engine, from_shot_id=first, to_shot_id=last, who=who, clock=clock, reason="specks"
        ),
        lambda: alarms.acknowledge(engine, 1, who=who, clock=clock),
        lambda: gaugings.shift_order(engine, Listed("lowland", "R1", "a list"), 1, who=who, clock=clock),
    ]
    for attempt in attempts:
        with pytest.raises(NotAllowed):
            attempt()

    with read(engine) as conn:
        assert conn.execute(sa.select(sa.func.count()).select_from(journal)).scalar() == 0
