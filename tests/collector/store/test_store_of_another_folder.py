"""A reading command never makes a store, and says which one it looked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.errors import SettingsError
from collector.store import database
from collector.store.database_url import shown


def test_a_store_that_is_not_there_is_named_and_not_made(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'none' / 'evenrun.db'}"

    with pytest.raises(SettingsError, match=r"no store at sqlite.*EVENRUN_SETTINGS"):
        database.open_existing(url)
    assert list(tmp_path.iterdir()) == []


def test_a_password_is_never_shown() -> None:
    assert "secret" not in shown("postgresql+psycopg://evenrun:secret@db/evenrun")
