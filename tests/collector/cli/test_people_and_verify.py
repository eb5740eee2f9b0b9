"""`evenrun people` and `evenrun verify` as somebody at the terminal calls them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.cli import main
from collector.clock import real_clock
from collector.people import codes
from collector.proof import heads, seal
from collector.store.database import open_engine, read, upgrade, write


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> sa.Engine:
    """An empty store that the commands read."""
    url = f"sqlite:///{tmp_path / 'evenrun.db'}"
    monkeypatch.setenv("EVENRUN_DATABASE_URL", url)
    monkeypatch.chdir(tmp_path)
    engine = open_engine(url)
    upgrade(engine)
    return engine


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out + said.err


def test_an_account_from_the_terminal(shop: sa.Engine, capsys: pytest.CaptureFixture[str]) -> None:
    assert "Nobody has an account yet" in run(capsys, "people")[1]
    status, said = run(capsys, "people", "add", "admin 1", "--role", "admin", "--role", "quality")
    code = re.search(r"[A-Z2-9]{4}-[A-Z2-9]{4}-[A-Z2-9]{4}", said)
    assert status == 0
    assert code is not None
    codes.redeem(
        shop, code.group(), name="admin 1", password="maple rivet cloud tin", address="t", clock=real_clock()
    )
    assert "active" in run(capsys, "people", "list")[1]


def test_the_first_account_where_names_were_chosen_says_what_ends(
    shop: sa.Engine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_PEOPLE__SIGN_IN", "names")
    assert "its invented people have no account" in run(capsys, "people", "add", "a 1", "--role", "admin")[1]
    assert "invented" not in run(capsys, "people", "add", "a 2", "--role", "quality")[1]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("add",), "say whose account: evenrun people add NAME"),
        (("add", "operator 1"), "one or more of the roles operator, technician, quality, admin"),
        (("add", "operator 1", "--role", "boss"), "one or more of the roles"),
        (("add", "<b>", "--role", "operator"), "a name has 1 to 60 letters"),
        (("disable", "nobody 9"), "there is no account 'nobody 9'"),
        (("dismiss", "operator 1"), "'dismiss' is not one of"),
    ],
)
@pytest.mark.usefixtures("shop")
def test_a_mistake_is_one_sentence(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    status, said = run(capsys, "people", *words)

    assert status == 2
    assert says in said
    assert said.count("\n") == 1


def test_verify_says_what_it_looked_at_and_ends_with_one_when_something_was_changed(
    shop: sa.Engine, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "people", "add", "admin 1", "--role", "admin")
    seal.make(shop, clock=real_clock(), then=lambda _: None)
    with read(shop) as conn:
        heads.append(tmp_path / "kept", heads.sealed(conn))
    status, said = run(capsys, "verify", "--head", "kept")
    assert (status, said.split(".")[0]) == (0, "Nothing was changed")
    with write(shop) as conn:
        conn.exec_driver_sql("DROP TRIGGER journal_no_delete")
        conn.exec_driver_sql("DELETE FROM journal")
    status, said = run(capsys, "verify", "--head", "kept")
    assert status == 1
    assert said.startswith("The journal was cut off: the head of ")


@pytest.mark.usefixtures("shop")
def test_a_file_of_heads_that_is_not_there_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    status, said = run(capsys, "verify", "--head", "gone")

    assert status == 2
    assert "the file of heads gone cannot be read (No such file or directory)" in said
