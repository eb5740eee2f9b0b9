"""The README keeps its promises: every setting, every command, and the two commands that do all."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel

from collector.cli import COMMANDS
from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.contract.mapping_model import FieldAt, JsonMapping, NamedList, TimeAt, ValueAt
from collector.settings import Settings
from collector.settings_delivery import MessageChannel
from collector.settings_folders import WatchedFolder
from collector.settings_mapping import read_mapping_text
from collector.sources import profiles

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEST_COMMAND = "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest"
DEMO_COMMAND = "python3 -m venv .venv && .venv/bin/pip install -q -e . && .venv/bin/evenrun demo"


def setting_names(model: type[BaseModel], prefix: str = "") -> Iterator[str]:
    for name, field in model.model_fields.items():
        kind = field.annotation
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from setting_names(kind, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}"


@pytest.mark.parametrize("name", list(setting_names(Settings)))
def test_every_setting_has_its_row(name: str) -> None:
    assert f"| `{name}` |" in README


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_is_named(name: str) -> None:
    assert f"`{name}`" in README


def test_the_two_commands_are_there_and_continuous_integration_runs_the_second() -> None:
    assert f"```sh\n{DEMO_COMMAND}\n```" in README
    assert f"```sh\n{TEST_COMMAND}\n```" in README
    assert TEST_COMMAND in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_profile_of_the_readme_is_one(tmp_path: Path) -> None:
    text = README.split("```toml\nkind = ")[1].split("```")[0]
    path = tmp_path / "readme.toml"
    path.write_text(f"kind = {text}", encoding="utf-8")

    assert profiles.load(str(path)).kind == "shots"


@pytest.mark.parametrize("model", [ShotProfile, GaugingProfile, WatchedFolder])
def test_every_key_of_a_profile_or_a_folder_is_named(model: type[BaseModel]) -> None:
    assert [name for name in model.model_fields if f"`{name}`" not in README] == []


def test_the_mapping_of_the_readme_is_one() -> None:
    text = README.split("```toml\n[[mapping]]")[1].split("```")[0]
    (mapping,) = read_mapping_text(f"[[mapping]]{text}", "the README")

    assert mapping.kind == "shot"


@pytest.mark.parametrize("model", [JsonMapping, FieldAt, NamedList, TimeAt, ValueAt])
def test_every_key_of_a_mapping_is_named(model: type[BaseModel]) -> None:
    assert [name for name in model.model_fields if f"`{name}`" not in README] == []


def test_every_key_of_a_channel_is_named() -> None:
    assert [name for name in MessageChannel.model_fields if f"`{name}`" not in README] == []


def test_only_the_listed_names_stand_at_the_top_level() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "docker-compose.yml", "collector", "rules",
        "dashboard", "simulator", "tests",
    }
    made = {"evenrun-data", "evenrun.egg-info", "build", "dist"}  # by using it; git does not track them
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}

    assert found - made == allowed
