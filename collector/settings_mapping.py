"""Files with ``[[mapping]]`` tables that the settings name."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from collector.contract.mapping_model import JsonMapping
from collector.errors import SettingsError
from collector.settings_mistakes import settings_mistake

__all__ = ["read_mapping_file", "read_mapping_text"]


class _MappingFile(BaseModel):
    model_config = ConfigDict(extra="forbid")

    mapping: tuple[JsonMapping, ...]


def read_mapping_file(path: Path) -> tuple[JsonMapping, ...]:
    """Read the mappings of a file.

    Raises
    ------
    SettingsError
        One sentence that names the file, the table and what to mend.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = "no text in UTF-8" if isinstance(error, UnicodeDecodeError) else error.strerror
        raise SettingsError(f"the mapping file {path} cannot be read ({why}); mend mapping_files") from error
    return read_mapping_text(text, str(path))


def read_mapping_text(text: str, where: str) -> tuple[JsonMapping, ...]:
    """Read mappings from TOML; `where` names their place in errors.

    Raises
    ------
    SettingsError
        As of :func:`read_mapping_file`.
    """
    try:
        return _MappingFile.model_validate(tomllib.loads(text)).mapping
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{where} is not valid TOML ({error}); mend that line") from error
    except ValidationError as error:
        raise SettingsError(f"{settings_mistake(_MappingFile, error)}; mend it in {where}") from error
