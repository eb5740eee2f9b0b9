"""Settings from file and environment, and what is wrong with them in one sentence."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector.errors import SettingsError
from collector.settings import load_settings


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in [name for name in os.environ if name.startswith("EVENRUN_")]:
        monkeypatch.delenv(name)


def write(text: str) -> None:
    Path("evenrun.toml").write_text(text, encoding="utf-8")


def test_the_environment_goes_before_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    write('site = "from-file"\n[broker]\nport = 1999\nhost = "file"\n')
    monkeypatch.setenv("EVENRUN_BROKER__PORT", "2000")

    settings = load_settings()

    assert (settings.site, settings.broker.host, settings.broker.port) == ("from-file", "file", 2000)


def test_tolerances_are_given_by_mold_and_characteristic() -> None:
    write('[tolerance."Larch 5".dome]\nlow = 2.4\nhigh = 3.05\n')

    assert load_settings().tolerance["Larch 5"]["dome"].high == 3.05


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('sight = "x"\n', "sight"),
        ("[broker]\nport = 99999\n", "broker.port"),
        ('time_zone = "Mars/Base"\n', "no time zone is called 'Mars/Base'"),
        ("site = \n", "not valid TOML"),
        ("[charts]\nvital_keys = []\n", "charts.vital_keys"),
    ],
)
def test_a_mistake_is_named_with_its_place(text: str, says: str) -> None:
    write(text)

    with pytest.raises(SettingsError, match=r"evenrun\.toml") as caught:
        load_settings()
    assert says in str(caught.value)


def test_a_settings_file_that_is_named_must_exist(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EVENRUN_SETTINGS", "elsewhere.toml")

    with pytest.raises(SettingsError, match=r"elsewhere\.toml, which does not exist"):
        load_settings()


def test_a_password_may_stand_in_a_file_and_is_never_shown() -> None:
    Path("key").write_text("hunter2\n", encoding="utf-8")
    write('[broker]\npassword = "shown"\npassword_file = "key"\n')

    settings = load_settings()

    assert settings.broker.secret() == "hunter2"
    assert "shown" not in repr(settings)


def test_a_password_file_that_cannot_be_read_says_so() -> None:
    write('[broker]\npassword_file = "gone"\n')

    with pytest.raises(SettingsError, match="gone cannot be read"):
        load_settings().broker.secret()


MAPPING = """
[[mapping]]
name = "hall"
topic = "plant/{press}/cycle"
kind = "shot"
[mapping.time]
pointer = "/ts"
[[mapping.values]]
key = "cushion"
pointer = "/cushion"
"""


def test_mappings_stand_in_the_settings_file_or_in_one_that_it_names() -> None:
    Path("more.toml").write_text(MAPPING.replace("hall", "yard").replace("plant", "yard"), encoding="utf-8")
    write('mapping_files = ["more.toml"]\n' + MAPPING)

    assert [each.name for each in load_settings().mapping] == ["hall", "yard"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('pointer = "/cushion"', 'pointr = "/cushion"', "mapping 1, values 1, pointr: there is no such "
         "key; did you mean 'pointer'?"),
        ('pointer = "/cushion"', "", "setting mapping 1, values 1, pointer: it is missing"),
        ("kind =", "unit = 3\nkind =", "setting mapping 1, unit: there is no such key; there are name"),
        ("[mapping.time]\n", "[mapping.time]\nzonee = 'UTC'\n", "setting mapping 1, time.zonee: there is no "
         "such key; did you mean 'zone'?"),
        ('"/cushion"', '"cushion"', "'cushion' is no JSON pointer; begin it with a slash"),
        ('"cushion"', '"Cushion"', "'Cushion' is no quantity name"),
        ('"cushion"\n', '"cushion"\nunit = "bar"\n', "bar does not measure cushion, which is in mm"),
        ('"cushion"\n', '"my_index"\n', "my_index is no known quantity and has no unit"),
        ('"cushion"\n', '"cushion"\nzones = true\n', "cushion has no zones"),
        ('"cushion"\n', '"cushion"\nfactor = 0\n', "the factor is 0"),
        ("{press}", "P1", "no press is named"),
        ("kind =", 'press = "P1"\nkind =', "the press is given twice"),
        ("[mapping.time]\n", "[mapping.fields]\ncountr = '/n'\n[mapping.time]\n", "did you mean 'counter'?"),
        ("[mapping.time]\n", "[mapping.time]\nformat = 'local'\n", "a local time needs its zone"),
        ("[mapping.time]\n", "[mapping.time]\nformat = 'local'\nzone = 'UTC'\npattern = '%Q'\n",
         "'%Q' is no pattern of strptime"),
        ("kind =", "presses = {7 = 'a/b'}\nkind =", "'a/b' in presses cannot name a press"),
        ("[mapping.time]\n", "[mapping.time]\nzone = 'Mars/Base'\n", "no time zone is called 'Mars/Base'"),
        ('"shot"', '"setpoints"', "a setpoints needs [[mapping.setpoints]]"),
        ('"shot"', '"state"', "a state needs fields.state"),
    ],
)
def test_a_mistake_in_a_mapping_is_one_sentence_with_its_table(old: str, new: str, says: str) -> None:
    text = MAPPING.replace(old, new)
    assert text != MAPPING
    write(text)

    with pytest.raises(SettingsError, match=r"evenrun\.toml") as caught:
        load_settings()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_mapping_that_is_never_reached_or_has_the_name_of_another_is_told() -> None:
    write(MAPPING + MAPPING.replace("hall", "yard"))
    with pytest.raises(SettingsError, match="'yard' is never reached"):
        load_settings()
    write(MAPPING + MAPPING.replace("plant", "yard"))
    with pytest.raises(SettingsError, match="two mappings are called 'hall'"):
        load_settings()


@pytest.mark.parametrize(
    ("text", "says"),
    [(None, "cannot be read"), ("x = 1", "setting x: there is no such key"), ("x", "not valid TOML")],
)
def test_a_mapping_file_that_does_not_read_is_named(text: str | None, says: str) -> None:
    if text is not None:
        Path("more.toml").write_text(text, encoding="utf-8")
    write('mapping_files = ["more.toml"]\n')

    with pytest.raises(SettingsError, match=r"more\.toml") as caught:
        load_settings()
    assert says in str(caught.value)
