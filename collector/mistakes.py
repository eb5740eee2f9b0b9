"""What is wrong with a table that a person wrote, in one sentence: place, name, and the nearest that exists.

The library that reads the tables speaks of inputs, tuples and tags; its kinds of error become words here that
somebody knows who writes TOML.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

__all__ = ["mistake"]

Place = Sequence[int | str]

# By kind of error; {value} is what was written, other names are the limits that it went beyond.
_WORDS: dict[str, str] = {
    "missing": "it is missing, and must be given",
    "string_type": "{value} is no text; write it in quotes",
    "string_too_short": "{value} is too short; give at least {min_length} sign(s)",
    "string_too_long": "{value} is too long; give at most {max_length} sign(s)",
    "string_pattern_mismatch": "{value} has signs that it may not have; it must fit {pattern}",
    "int_type": "{value} is no whole number; give one",
    "int_parsing": "{value} is no whole number; give one",
    "int_from_float": "{value} is no whole number; give one",
    "float_type": "{value} is no number; give one",
    "float_parsing": "{value} is no number; give one",
    "finite_number": "{value} is no number; give one",
    "bool_type": "{value} is neither true nor false; give one of them",
    "bool_parsing": "{value} is neither true nor false; give one of them",
    "literal_error": "{value} is none that it can be; give {expected}",
    "greater_than": "{value} is too small; give more than {gt}",
    "greater_than_equal": "{value} is too small; give at least {ge}",
    "less_than": "{value} is too large; give less than {lt}",
    "less_than_equal": "{value} is too large; give at most {le}",
    "too_short": "it has too few entries; give at least {min_length}",
    "too_long": "it has too many entries; give at most {max_length}",
    "tuple_type": "{value} is no list; write it in brackets, or each of its tables as [[...]]",
    "list_type": "{value} is no list; write it in brackets, or each of its tables as [[...]]",
    "dict_type": "{value} is no table; write it as [...] with its keys below",
    "model_type": "{value} is no table; write it as [...] with its keys below",
    "model_attributes_type": "{value} is no table; write it as [...] with its keys below",
    "datetime_parsing": "{value} is no time; give one such as 2022-05-04T08:00:00Z",
    "datetime_from_date_parsing": "{value} is no time; give one such as 2022-05-04T08:00:00Z",
    "datetime_type": "{value} is no time; give one such as 2022-05-04T08:00:00Z",
    "path_type": "{value} is no path; write it in quotes",
    "union_tag_not_found": "it is missing; give {expected}",
    "union_tag_invalid": "{value} is none that it can be; give {expected}",
}
_LONGEST = 60


def mistake(model: type[BaseModel], errors: Sequence[ErrorDetails]) -> str:
    """One of the mistakes that were found, as a sentence without its end.

    Parameters
    ----------
    model : type
        What was read.
    errors : sequence
        What pydantic says.

    Returns
    -------
    str
        Such as ``mapping 2, values 1, pointr: there is no such key; did you mean 'pointer'?``.
    """
    # A name that is not known tells more than the known one that is missing for it.
    first = min(errors, key=lambda each: each["type"] != "extra_forbidden")
    place = first["loc"]
    words = _no_such_key(model, place) if first["type"] == "extra_forbidden" else _words(first)
    return f"{_written(place)}: {words}" if place else words


def _no_such_key(model: type[BaseModel], place: Place) -> str:
    known = _names(model, place[:-1])
    near = difflib.get_close_matches(str(place[-1]), known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(known)}"
    return f"there is no such key; {hint}"


def _words(error: ErrorDetails) -> str:
    form = _WORDS.get(error["type"])
    if form is None:  # most likely a sentence of ours, by a check of the model
        return error["msg"].removeprefix("Value error, ")
    context: Mapping[str, Any] = error.get("ctx", {})
    return form.format_map({"expected": "another", **context, "value": _shown(error["input"])})


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


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
