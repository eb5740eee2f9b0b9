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
