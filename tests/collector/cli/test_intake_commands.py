"""The commands about what came in: imports, gaps, recipes, refusals.

That a cell must not begin with a sign of a formula: OWASP, CSV Injection.
"""

from __future__ import annotations

import base64
import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.cli import main
from collector.sources.incoming import Incoming
from collector.store import database, journal
from collector.store.tables import journal as entries
from collector.store.tables import recipes, runs, shots
from tests.collector.pipelines import messages, pipeline, rows
from tests.collector.shots_in import cushions

Run = Callable[..., tuple[int, str]]

PROFILE = """
kind = "shots"
press = "P3"
counter_column = "Shot"
[time]
columns = ["Time"]
[[values]]
key = "cushion"
column = "Cushion"
unit = "mm"
"""


@pytest.fixture
def run(
    engine: sa.Engine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Run:
    """Run a command against the store of the test; its exit code and what it said."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENRUN_DATABASE_URL", engine.url.render_as_string(hide_password=False))

    def command(*words: str) -> tuple[int, str]:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main(list(words))
        said = capsys.readouterr()
        code = ended.value.code
        return (code if isinstance(code, int) else 0), said.out + said.err

    return command


def a_file(folder: Path, *, first: int = 0) -> Path:
    lines = ["Shot,Time,Cushion"]
    for number, value in enumerate(cushions(40), start=first):
        lines.append(f"{number},2026-11-02T{6 + number // 60:02d}:{number % 60:02d}:00Z,{value}")
    (folder / "press.toml").write_text(PROFILE)
    file = folder / "export.csv"
    file.write_text("\n".join(lines) + "\n")
    return file


def test_a_wrong_import_is_listed_and_undone_by_its_number(run: Run, tmp_path: Path) -> None:
    a_file(tmp_path)
    assert run("import", "export.csv", "--profile", "press.toml")[0] == 0

    code, said = run("imports")
    assert "1  " in said
    assert "export.csv as press.toml: 40 rows stored" in said
    code, said = run("imports", "undo", "1")
    assert (code, said) == (2, 'evenrun: say why with --why, such as --why "wrong press"\n')
    code, said = run("imports", "undo", "1", "--who", "quality 1", "--why", "it is of P4")

    assert (code, "40 shots and 0 gaugings are set aside" in said) == (0, True)
    assert "undone" in run("imports")[1]
    code, said = run("import", "export.csv", "--profile", "press.toml", "--press", "P4")
    assert "the same file was imported" not in said
    assert "40 shots stored" in said


def test_an_import_gets_its_run_later(engine: sa.Engine, run: Run, tmp_path: Path) -> None:
    a_file(tmp_path)
    run("import", "export.csv", "--profile", "press.toml")

    code, said = run("imports", "name", "1", "--run", "R-0420", "--who", "operator 1", "--why", "forgotten")

    assert (code, "40 shots of import 1 are of run R-0420" in said) == (0, True)
    assert [row[0] for row in rows(engine, runs.c.name)] == ["R-0420"]


def test_a_number_that_is_missing_or_wrong_is_one_sentence(run: Run) -> None:
    assert run("imports", "undo") == (2, "evenrun: say which import: evenrun imports undo NUMBER; `evenrun imports` lists them\n")  # noqa: E501
    code, said = run("imports", "undo", "7", "--who", "a", "--why", "b")
    assert (code, said.count("\n")) == (2, 1)
    assert "there is no import 7" in said


def test_gaps_are_listed_and_closed_with_a_reason(engine: sa.Engine, run: Run) -> None:
    batch = messages(cushions(30))
    pipeline(engine).take([*batch[:10], *batch[12:20], *batch[21:]])

    code, said = run("gaps")
    assert "1  P1  shots 1010 to 1011, noticed at 2026-11-02 06:12:00 UTC: 2 missing" in said
    assert "2  P1  shot 1020," in said
    code, said = run("gaps", "close", "1")
    assert (code, "say why with --why" in said) == (2, True)

    code, said = run("gaps", "close", "1", "--who", "technician 1", "--why", "dry cycles")

    assert (code, said) == (0, "Gap 1 is closed.\n")
    assert "1010" not in run("gaps")[1]
    assert "closed by technician 1: dry cycles" in run("gaps", "--all")[1]
    assert run("gaps", "close", "1", "--who", "a", "--why", "b")[0] == 2
    assert "No counter is missing" in run("gaps", "--press", "P9")[1]
    pipeline(engine).take([batch[10]])
    assert "1 missing, closed by technician 1" in run("gaps", "--all")[1], "what arrives is stored still"
    with database.read(engine) as conn:
        assert conn.execute(sa.select(entries.c.action)).scalars().all() == ["gap closed"]
        assert journal.verify(conn) == []


RECIPE = """
name = "Larch 5 A"
version = 2
mold = "Larch 5"
blend = "A"

[setpoints.cooling_time]
setpoint = 36
allowed = 0.5

[setpoints."barrel_temperature.1"]
setpoint = 392
allowed = 9
unit = "degF"
"""


def test_a_recipe_is_qualified_out_of_a_file_in_canonical_units(engine: sa.Engine, run: Run, tmp_path: Path) -> None:  # noqa: E501
    (tmp_path / "larch.toml").write_text(RECIPE)

    code, said = run("recipe", "qualify", "larch.toml", "--who", "quality 1", "--why", "first run good")

    assert (code, said) == (0, "Recipe Larch 5 A version 2 is qualified, 2 setpoints.\n")
    [(setpoints, who)] = rows(engine, recipes.c.setpoints, recipes.c.qualified_by)
    assert who == "quality 1"
    zone = setpoints["barrel_temperature.1"]  # type: ignore[index]
    assert zone == {"setpoint": pytest.approx(200.0), "allowed": pytest.approx(5.0)}  # 392 degF, 9 K of 5/9
    listed = run("recipe")[1]
    assert "Larch 5 A version 2, Larch 5, A: qualified" in listed
    assert "Cooling time: 36.00 s, 0.5 either way" in listed
    code, said = run("recipe", "qualify", "larch.toml", "--who", "quality 1", "--why", "again")
    assert (code, "give a new version" in said) == (2, True)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (RECIPE.replace("allowed = 0.5", "allowd = 0.5"), "did you mean 'allowed'?"),
        (RECIPE.replace("cooling_time", "cushion"), "cushion does not belong into"),
        (RECIPE.replace('"degF"', '"bar"'), "does not measure"),
        (RECIPE.replace("version = 2", "version = "), "is no TOML"),
        (RECIPE.replace("setpoint = 36", "setpoint = nan"), "cooling_time.setpoint"),
    ],
)
def test_a_recipe_that_cannot_be_is_one_sentence_that_names_the_file(
    run: Run, tmp_path: Path, text: str, words: str
) -> None:
    (tmp_path / "larch.toml").write_text(text)

    code, said = run("recipe", "qualify", "larch.toml", "--who", "quality 1", "--why", "first run good")

    assert (code, said.count("\n")) == (2, 1)
    assert words in said


def test_a_recipe_that_is_not_there_is_one_sentence(run: Run) -> None:
    code, said = run("recipe", "qualify", "none.toml", "--who", "a", "--why", "b")

    assert (code, "cannot be read" in said) == (2, True)
    assert run("recipe", "qualify")[0] == 2


def refuse_something(engine: sa.Engine) -> bytes:
    raw = b'=cmd|calc,{"press":\xff'
    pipeline(engine).take([Incoming("evenrun/1/lowland/P1/shot", raw, "mqtt", "test:1"), *messages([6.0])])
    return raw


def test_refusals_are_exported_as_csv_that_computes_nothing(engine: sa.Engine, run: Run, tmp_path: Path) -> None:  # noqa: E501
    refuse_something(engine)

    assert run("refused", "--export", "kept.csv") == (0, "kept.csv: 1 that could not be read\n")

    with (tmp_path / "kept.csv").open(newline="", encoding="utf-8") as file:
        [header, row] = list(csv.reader(file))
    assert row[header.index("raw")].startswith("'=cmd")
    assert row[header.index("reason")] == "not_json"
    assert not [cell for cell in row if cell[:1] in "=+-@\t\r" and cell]


def test_refusals_are_exported_as_json_lines_with_every_byte(engine: sa.Engine, run: Run, tmp_path: Path) -> None:  # noqa: E501
    raw = refuse_something(engine)

    run("refused", "--export", "kept.jsonl")

    [line] = (tmp_path / "kept.jsonl").read_text(encoding="utf-8").splitlines()
    members = json.loads(line)
    assert base64.b64decode(members["raw_base64"]) == raw
    assert members["remedy"]


def test_an_export_overwrites_nothing_and_says_what_endings_there_are(run: Run, tmp_path: Path) -> None:
    (tmp_path / "kept.csv").write_text("mine")

    assert "exists already" in run("refused", "--export", "kept.csv")[1]
    assert "neither .csv nor .jsonl" in run("refused", "--export", "kept.xlsx")[1]
    assert "cannot be written" in run("refused", "--export", "nowhere/kept.csv")[1]
    assert (tmp_path / "kept.csv").read_text() == "mine"


def test_shots_that_are_set_aside_are_still_stored(engine: sa.Engine, run: Run, tmp_path: Path) -> None:
    a_file(tmp_path)
    run("import", "export.csv", "--profile", "press.toml")
    run("imports", "undo", "1", "--who", "quality 1", "--why", "wrong")

    assert len(rows(engine, shots.c.id)) == 40


def test_what_nobody_can_read_is_put_aside_by_number_or_by_source(
    run: Run, engine: sa.Engine, tmp_path: Path
) -> None:
    file = a_file(tmp_path)
    file.write_text(file.read_text() + "Total,,240\nMean,,6\nMin,,5\n")
    run("import", "export.csv", "--profile", "press.toml")
    listed = run("refused")[1]
    first = listed.split()[0]

    assert "say why with --why" in run("refused", "--put-aside", first, "--who", "quality 1")[1]
    why = ("--who", "quality 1", "--why", "totals")
    assert run("refused", "--put-aside", first, *why) == (
        0, "1 put aside; kept in the store, and no longer listed.\n",
    )  # fmt: skip
    assert f"number {first}, 99 does not wait" in run("refused", "--put-aside", f"{first},99", *why)[1]
    assert "--source" in run("refused", "--put-aside", "all", *why)[1]
    assert run("refused", "--put-aside", "all", "--source", "export.csv", *why)[1].startswith("2 put aside")

    assert "Nothing that was refused waits." in run("refused")[1]
    found = rows(engine, entries.c.action, entries.c.subject, entries.c.why)
    assert ("refusals put aside", f"refusal {first}", "totals") in found
    assert ("refusals put aside", "2 refusals", "totals") in found
    run("import", "export.csv", "--profile", "press.toml")
    assert "Nothing that was refused waits." in run("refused")[1], "put aside for good"
