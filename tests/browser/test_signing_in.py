"""Choosing a password with a code, signing in and acting, as a person does it in Chromium."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from collector.actions import people as act
from collector.clock import real_clock, wall_now
from collector.people import sign_in
from collector.store.database import open_engine, write

pytestmark = pytest.mark.chromium

GOOD = "maple rivet cloud tin"
Serve = Callable[..., str]


def code_for(url: str, name: str, role: str) -> str:
    """A code from the terminal of the same store."""
    engine = open_engine(url)
    with write(engine) as conn:
        terminal = sign_in.at_terminal(conn, wall=wall_now())
    code = act.add(engine, name, [role], who=terminal, clock=real_clock())
    engine.dispose()
    return code


def fill(page: Any, address: str, **fields: str) -> None:
    page.goto(address)
    for name, text in fields.items():
        page.fill(f"#{name}", text)
    page.click("button[type=submit]")


@pytest.mark.parametrize("role", ["admin", "operator"])
def test_from_a_code_to_an_act_or_to_why_not(
    serve: Serve, store_of: Callable[[str], str], browser: Any, role: str
) -> None:
    address = serve("P2", sign_in="accounts")
    name = f"{role} 7"
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if "Content Security" in said.text else None)
    fill(page, f"{address}/code", name=name, code=code_for(store_of(address), name, role), password=GOOD)
    fill(page, f"{address}/sign-in?next=alarms", name=name, password=GOOD)
    if role == "admin":
        page.get_by_text("it needs the role operator, technician or quality").wait_for(timeout=60_000)
        assert page.get_by_role("button", name="Acknowledge").count() == 0
    else:
        page.get_by_role("button", name="Acknowledge").click(timeout=60_000)
        page.get_by_text(f"{name} has it").first.wait_for(timeout=60_000)

    assert page.url == f"{address}/alarms"
    page.get_by_role("link", name=name).wait_for()
    assert complaints == []
    page.context.close()
