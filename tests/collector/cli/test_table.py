"""The command table: every row loads, explains itself, and fails in one sentence."""

from __future__ import annotations

import inspect

import pytest

from collector.cli import COMMANDS, main


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_a_help_that_says_more_than_its_name(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    function = COMMANDS[name].load()

    with pytest.raises(SystemExit) as ended:
        main([name, "--help"])
    assert ended.value.code == 0
    assert f"Usage: evenrun {name}" in capsys.readouterr().out
    assert len(inspect.getdoc(function) or "") > 100


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_option_says_what_it_is(name: str) -> None:
    undescribed = [
        parameter.name
        for parameter in inspect.signature(COMMANDS[name].load(), eval_str=True).parameters.values()
        if not any(getattr(note, "help", None) for note in getattr(parameter.annotation, "__metadata__", ()))
    ]

    assert undescribed == []


def test_the_overview_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--help"])

    overview = capsys.readouterr().out
    assert all(f"  {name}" in overview for name in COMMANDS)


def test_a_mistyped_command_gets_a_suggestion(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["chek"])

    assert ended.value.code == 2
    assert capsys.readouterr().err == "evenrun: there is no command 'chek'; did you mean 'check'?\n"


def test_a_setting_out_of_range_is_one_sentence_with_its_place(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_CHARTS__FALSE_ALARMS_PER_DAY", "-1")

    with pytest.raises(SystemExit) as ended:
        main(["collect"])

    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert said.startswith("evenrun: setting charts.false_alarms_per_day:")
    assert said.count("\n") == 1


def test_the_version_is_the_one_of_the_distribution(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--version"])

    assert capsys.readouterr().out.startswith("evenrun 0.")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check", "--no-such"], "no such option: --no-such; `evenrun check --help` lists the options"),
        (["mapping"], "missing argument 'action'; `evenrun mapping --help` lists the options"),
    ],
)
def test_an_option_that_does_not_exist_is_one_sentence(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(words)

    assert ended.value.code == 2
    assert capsys.readouterr().err == f"evenrun: {said}\n"
