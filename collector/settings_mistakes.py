"""What is wrong with settings, in one sentence."""

from __future__ import annotations

from pydantic import BaseModel, ValidationError

from collector.mistakes import mistake

__all__ = ["settings_mistake"]


def settings_mistake(model: type[BaseModel], error: ValidationError) -> str:
    """One of the mistakes, such as ``setting mapping 2, values 1, pointr: there is no such key; ...``."""
    return f"setting {mistake(model, error.errors())}"
