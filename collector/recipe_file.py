"""A recipe as a file: its name, version and setpoints with the allowed deviation of each."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from collector.contract.readings import Problem, how_to_read
from collector.errors import UserError
from collector.settings_mistakes import settings_mistake


class SetpointInFile(BaseModel):
    """One setpoint; `allowed` is the largest deviation, either way, that is not a signal."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    setpoint: float = Field(allow_inf_nan=False)
    allowed: float = Field(ge=0, allow_inf_nan=False)
    unit: str | None = None


class RecipeInFile(BaseModel):
    """One version of a recipe."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1, max_length=100)
    version: int = Field(ge=1)
    mold: str | None = None
    blend: str | None = None
    setpoints: dict[str, SetpointInFile] = Field(min_length=1)

    def allowed(self) -> dict[str, dict[str, float]]:
        """The setpoints in canonical units, as the recipe check takes them.

        Raises
        ------
        UserError
            A key is no setpoint, or its unit does not measure it.
        """
        return {key: _canonical(key, each) for key, each in self.setpoints.items()}


def read_recipe(path: Path) -> RecipeInFile:
    """Read a recipe.

    Raises
    ------
    UserError
        The file cannot be read, or what stands in it is no recipe; says where and what to do.
    """
    try:
        with path.open("rb") as file:
            return RecipeInFile.model_validate(tomllib.load(file))
    except OSError as error:
        raise UserError(f"the recipe {path} cannot be read ({error.strerror}); check its path") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UserError(f"the recipe {path} is no TOML: {error}; mend that line") from error
    except ValidationError as error:
        said = settings_mistake(RecipeInFile, error).removeprefix("setting ")
        raise UserError(f"{said}; mend it in {path}") from error


def _canonical(key: str, given: SetpointInFile) -> dict[str, float]:
    reading = how_to_read(key, given.unit, "setpoint")
    if isinstance(reading, Problem):
        raise UserError(f"setpoints.{key}: {reading.detail}; {reading.remedy}")
    return {
        "setpoint": given.setpoint * reading.factor + reading.offset,
        "allowed": given.allowed * abs(reading.factor),  # a deviation has no zero point
    }
