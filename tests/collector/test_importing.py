"""Import of a file into the store: what does not come as far as its rows."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import sqlalchemy as sa

from collector.clock import real_clock
from collector.errors import UserError
from collector.importing import import_csv
from collector.settings import Settings
from collector.sources import profiles
from collector.store import database, imports

PROFILE = """
kind = "shots"
press = "P1"
time = {columns = ["time"]}
values = [{key = "cushion", column = "csh"}]
"""


@pytest.mark.parametrize("name", [b"shots\xff.csv", b"two\nlines.csv"])
def test_a_name_that_cannot_be_shown_is_refused_in_a_sentence(
    engine: sa.Engine, tmp_path: Path, name: bytes
) -> None:
    """A name that is not UTF-8 can stand in no text column, and a line end would break lists of imports."""
    path = tmp_path / os.fsdecode(name)
    path.write_text("time,csh\n2026-11-24T10:00:00Z,6.1\n")

    with pytest.raises(UserError, match="signs that cannot be shown; rename it") as caught:
        import_csv(
            engine, Settings(), path, profiles.parse(PROFILE, "p"), profile_name="p", clock=real_clock()
        )
    assert str(caught.value).isascii()
    with database.read(engine) as conn:
        assert imports.listed(conn, last=9) == []
