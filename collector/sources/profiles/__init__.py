"""Profiles of CSV files: those that come along, and those a shop writes itself."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from collector.contract.mapping import TIME_TAGS, AnyProfile, GaugingProfile, ShotProfile
from collector.errors import UserError
from collector.mistakes import mistake

_ADAPTER: TypeAdapter[ShotProfile | GaugingProfile] = TypeAdapter(AnyProfile)


def names() -> list[str]:
    """Names of the profiles that come along."""
    return sorted(
        entry.name.removesuffix(".toml")
        for entry in files(__name__).iterdir()
        if entry.name.endswith(".toml")
    )


def load(name_or_path: str) -> ShotProfile | GaugingProfile:
    """Read a profile by the path of its TOML file, or by name one that comes along.

    Raises
    ------
    UserError
        When there is no such profile, or when it is not valid, with the place and the remedy.
    """
    path = Path(name_or_path)
    if path.suffix == ".toml" or path.is_file():
        return parse(_read(path), name_or_path)
    if name_or_path not in names():
        known = ", ".join(names())
        raise UserError(f"no profile is called {name_or_path!r}; give a TOML file or one of {known}")
    return parse(files(__name__).joinpath(f"{name_or_path}.toml").read_text(encoding="utf-8"), name_or_path)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no text in UTF-8"
        raise UserError(f"the profile {path} cannot be read ({why}); give another path") from error


def parse(text: str, name: str) -> ShotProfile | GaugingProfile:
    """Read a profile from the text of its TOML file; `name` is for the message.

    Raises
    ------
    UserError
        When it is not valid, with the place and the remedy.
    """
    try:
        return _ADAPTER.validate_python(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise UserError(f"the profile {name} is no valid TOML ({error}); mend that line") from error
    except ValidationError as error:
        raise UserError(f"the profile {name}, {_mistake(error)}") from error


def _mistake(error: ValidationError) -> str:
    """The mistake, its place without the names that no author of a profile has written."""
    errors = error.errors()
    kind = next((step for each in errors for step in each["loc"][:1]), "shots")
    for each in errors:
        each["loc"] = tuple(step for step in each["loc"][1:] if step not in TIME_TAGS)
        if each["type"].startswith("union_tag"):
            each["loc"] = ("kind",)
            each["input"] = each["input"].get("kind")
            each["ctx"] = {"expected": "shots or gaugings"}
    return mistake(GaugingProfile if kind == "gaugings" else ShotProfile, errors)
