"""What is wrong with a table that a person wrote is said in our words, with its place and the nearest name.

What is held against: the kinds of error that the reading library can give for the tables of profiles and
settings; none of its own words may reach a person.
"""

from __future__ import annotations

from typing import get_args

import pytest
from pydantic_core import core_schema

from collector import mistakes
from collector.errors import UserError
from collector.sources import profiles

PROFILE = """\
kind = "shots"
press = "P1"
[time]
columns = ["t"]
[[values]]
key = "cushion"
column = "c"
"""
THEIRS = ("Input", "Extra", "Field required", "tuple", "discriminator", "Value error", "TimeColumns")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"shots"', '"shot"', "kind: 'shot' is none that it can be; give shots or gaugings"),
        ('kind = "shots"\n', "", "kind: it is missing; give shots or gaugings"),
        ("press", "pres", "pres: there is no such key; did you mean 'press'?"),
        ("columns", "colums", "time.colums: there is no such key; did you mean 'columns'?"),
        ('columns = ["t"]', "", "time.columns: it is missing, and must be given"),
        ('column = "c"', "", "values 1, column: it is missing, and must be given"),
        ('column = "c"', 'column = "c"\nunits = "mm"', "values 1, units: there is no such key; did you mean"),
        ('column = "c"', 'column = "c"\nfactor = "x"', "values 1, factor: 'x' is no number; give one"),
        ("[time]", "header_rows = 9\n[time]", "header_rows: 9 is too large; give at most 4"),
        ("[time]", 'header_rows = "x"\n[time]', "header_rows: 'x' is no whole number; give one"),
        ("[time]", 'newest_first = "maybe"\n[time]', "newest_first: 'maybe' is neither true nor false"),
        ("[time]", 'delimiter = ";;"\n[time]', "delimiter: ';;' is too long; give at most 1 sign(s)"),
        ("[time]", 'missing = "-"\n[time]', "missing: '-' is no list; write it in brackets"),
        ("[time]", 'decimal_mark = ";"\n[time]', "decimal_mark: ';' is none that it can be; give '.' or ','"),
        ("[[values]]", "[values]", "is no list; write it in brackets, or each of its tables as [[...]]"),
        ('columns = ["t"]', 'columns = ["t"]\norder = "dayfirst"', "time.order: 'dayfirst' is none"),
        ('columns = ["t"]', 'start = 2022-05-04T08:00:00\ninterval_s = 1', "time.start: start needs a zone"),
        ('columns = ["t"]', "start = 2022-05-04T08:00:00Z\ninterval_s = 0", "time.interval_s: 0 is too"),
        ('[time]\ncolumns = ["t"]', "time = 5", "time: 5 is no table"),
        ('key = "cushion"', "key = 5", "values 1, key: 5 is no text; write it in quotes"),
        ('column = "c"', 'column = "c"\nunit = "bar"', "column 'c': bar does not measure cushion"),
    ],
)
def test_a_mistake_in_a_profile_is_said_in_our_words(old: str, new: str, says: str) -> None:
    with pytest.raises(UserError) as caught:
        profiles.parse(PROFILE.replace(old, new), "mine.toml")

    said = str(caught.value)
    assert said.startswith("the profile mine.toml, ")
    assert says in said
    assert not [word for word in THEIRS if word in said]


def test_only_kinds_of_error_that_there_are_have_words() -> None:
    known = {*get_args(core_schema.ErrorType), "path_type"}  # which the library adds to those of its core

    assert set(mistakes._WORDS) - known == set()
