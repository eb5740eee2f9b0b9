"""What is wrong with settings, in one sentence: the table, the name, and the nearest name that exists."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

__all__ = ["settings_mistake"]

Place = Sequence[int | str]


def settings_mistake(model: type[BaseModel], error: ValidationError) -> str:
    """One of the mistakes that pydantic found, as a sentence without its end.

    Parameters
    ----------
    model : type
        What was read.
    error : ValidationError
        What pydantic says.

    Returns
    -------
    str
        Such as ``setting mapping 2, values 1, pointr: there is no such key; did you mean 'pointer'?``.
    """
    # A name that is not known tells more than the known one that is missing for it.
    first = min(error.errors(), key=lambda each: each["type"] != "extra_forbidden")
    place = first["loc"]
    name = _written(place)
    if first["type"] != "extra_forbidden":
        return f"setting {name}: {first['msg'].removeprefix('Value error, ')}"
    known = _names(model, place[:-1])
    near = difflib.get_close_matches(str(place[-1]), known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(known)}"
    return f"setting {name}: there is no such key; {hint}"


def _written(place: Place) -> str:
    """``charts.vital``, and ``mapping 2, values 1, unit`` where tables come in lists."""
    text = ""
    for part in place:
        if isinstance(part, int):
            text += f" {part + 1}"
        else:
            joint = ", " if text[-1:].isdigit() else "." if text else ""
            text += f"{joint}{part}"
    return text


def _names(model: type[BaseModel], place: Place) -> list[str]:
    """Names that may stand in the table at `place`."""
    here: type[BaseModel] | None = model
    for part in place:
        if here is not None and isinstance(part, str) and part in here.model_fields:
            here = _model_in(here.model_fields[part].annotation)
    return [] if here is None else list(here.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model that a field holds, itself or in a list or table of them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for each in get_args(annotation) if (found := _model_in(each))), None)
