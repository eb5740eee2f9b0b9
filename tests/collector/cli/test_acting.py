"""In whose name a command acts, with accounts and without.

The user that the system runs the test as is asked of `id`, a program outside of the project.
"""

from __future__ import annotations

import socket
import subprocess
from pathlib import Path

import pytest
import sqlalchemy as sa
import typer

from collector.actions import people as act
from collector.cli import main
from collector.cli.terminal import acting
from collector.clock import real_clock
from collector.people import codes, sign_in
from collector.store import database
from collector.store.tables import gaugings, imports
from collector.store.tables import journal as entries
from tests.store_fixtures import STARTED

PASSWORD = "maple rivet cloud tin"


@pytest.fixture
def shop(engine: sa.Engine, database_url: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> sa.Engine:
    """A store with an import of nothing but one gauging, which the commands read."""
    monkeypatch.setenv("EVENRUN_DATABASE_URL", database_url)
    monkeypatch.chdir(tmp_path)
    with database.write(engine) as conn:
        conn.execute(sa.insert(gaugings).values(
            characteristic="dome", value=2.7, unit="mm", received_at=STARTED, site="lowland",
            source="export.csv", identity=b"1",
        ))  # fmt: skip
        conn.execute(sa.insert(imports).values(
            file_name="export.csv", file_digest=b"1", profile="p", imported_at=STARTED, accepted=1,
            duplicates=0, refused=0, after_shot_id=0, last_shot_id=0, after_gauging_id=0, last_gauging_id=1,
        ))  # fmt: skip
    return engine


@pytest.fixture
def accounts(shop: sa.Engine) -> sa.Engine:
    """The same with accounts: a quality engineer and an operator."""
    with database.write(shop) as conn:
        terminal = sign_in.at_terminal(conn, wall=real_clock().wall())
    for name, role in (("quality 1", "quality"), ("operator 1", "operator")):
        code = act.add(shop, name, [role], who=terminal, clock=real_clock())
        codes.redeem(shop, code, name=name, password=PASSWORD, address="t", clock=real_clock())
    return shop


def undo(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as ended:
        main(["imports", "undo", "1", "--why", "of another press", *words])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out + said.err


def typed(monkeypatch: pytest.MonkeyPatch, password: str) -> None:
    monkeypatch.setattr(typer, "prompt", lambda *_words, **_more: password)


def not_asked(*_words: object, **_more: object) -> str:
    raise AssertionError("a password was asked for")


def who_undid(engine: sa.Engine) -> list[str]:
    with database.read(engine) as conn:
        return list(
            conn.execute(sa.select(entries.c.who).where(entries.c.action == "import undone")).scalars()
        )


def here() -> str:
    user = subprocess.run(["id", "-un"], capture_output=True, text=True, check=True).stdout.strip()
    return f"terminal of {socket.gethostname()} as {user}"


def test_where_there_are_accounts_a_name_needs_its_password(
    accounts: sa.Engine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(monkeypatch, "some other words here")
    status, said = undo(capsys, "--who", "quality 1")
    assert status == 2
    assert "name and password do not fit together" in said
    assert "without --who, this terminal acts" in said
    assert who_undid(accounts) == []

    typed(monkeypatch, PASSWORD)
    assert undo(capsys, "--who", "quality 1")[0] == 0
    assert who_undid(accounts) == ["quality 1"]


def test_a_name_that_nobody_has_is_refused_like_a_wrong_password(
    accounts: sa.Engine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(monkeypatch, PASSWORD)
    assert "do not fit together" in undo(capsys, "--who", "nobody 9")[1]
    assert who_undid(accounts) == []


def test_a_name_may_do_at_the_terminal_what_its_role_may(
    accounts: sa.Engine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(monkeypatch, PASSWORD)
    status, said = undo(capsys, "--who", "operator 1")
    assert status == 2
    assert "operator 1 may not do this: it needs the role technician or quality" in said
    assert who_undid(accounts) == []


def test_without_a_name_the_journal_says_which_terminal_and_which_user(
    accounts: sa.Engine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("USER", "somebody-else")
    monkeypatch.setenv("LOGNAME", "somebody-else")
    monkeypatch.setattr(typer, "prompt", not_asked)
    assert undo(capsys)[0] == 0
    assert who_undid(accounts) == [here()]


def test_where_there_are_no_accounts_a_name_is_taken_at_its_word(
    shop: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(typer, "prompt", not_asked)
    assert acting(shop, "quality 1") == "quality 1"
    assert acting(shop, " ") == here()


def test_accounts_are_looked_after_in_the_name_of_the_terminal(
    accounts: sa.Engine, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["people", "reset", "operator 1"])
    assert "enters this code" in capsys.readouterr().out
    with database.read(accounts) as conn:
        last = conn.execute(sa.select(entries.c.who, entries.c.action).order_by(entries.c.id.desc())).first()
    assert last == (here(), "account code given")
