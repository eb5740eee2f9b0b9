"""Databases that a test can fill, lock, stop and make read-only: SQLite and PostgreSQL alike.

Filling needs a file system of its own, a small one in memory, which only root may mount.
"""

from __future__ import annotations

import itertools
import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import psycopg
import sqlalchemy as sa

from tests import postgres_cluster
from tests.faults.proxy import Proxy

SMALL_MB = 48
_names = itertools.count(1)


class Store(Protocol):
    """What a fault needs of a database."""

    kind: str
    url: str

    def full(self) -> None: ...
    def roomy(self) -> None: ...
    def locked(self, seconds: float) -> None: ...
    def read_only(self) -> None: ...
    def writable(self) -> None: ...


@contextmanager
def small_disk() -> Iterator[Path]:
    """A file system of its own with `SMALL_MB`; a plain folder where we may not mount one."""
    folder = Path(tempfile.mkdtemp(prefix="evenrun-small-"))
    mounted = os.geteuid() == 0
    if mounted:
        _run("mount", "-t", "tmpfs", "-o", f"size={SMALL_MB}m,mode=0777", "tmpfs", str(folder))
    try:
        yield folder
    finally:
        if mounted:
            _run("umount", "--lazy", str(folder))
        shutil.rmtree(folder, ignore_errors=True)


def can_mount() -> bool:
    """Whether a small disk can be made here."""
    try:
        with small_disk() as folder:
            return folder.is_mount()
    except subprocess.CalledProcessError:
        return False


class _OnSmallDisk:
    """A database whose files lie on a small disk."""

    def __init__(self, folder: Path) -> None:
        self._ballast = folder / "ballast"

    def full(self) -> None:
        """Leave no byte."""
        with self._ballast.open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(bytes(4096))
            except OSError:
                return

    def roomy(self) -> None:
        """Take the ballast away."""
        self._ballast.unlink()


class SqliteStore(_OnSmallDisk):
    """One file."""

    kind = "sqlite"

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self._folder = folder
        self.path = folder / "evenrun.db"
        self.url = f"sqlite:///{self.path}"

    def locked(self, seconds: float) -> None:
        """Hold the write lock for so long, as a backup or an SQL shell does."""
        engine = sa.create_engine(self.url)
        raw: Any = engine.raw_connection()
        raw.driver_connection.isolation_level = None
        raw.driver_connection.execute("PRAGMA busy_timeout = 5000")
        raw.driver_connection.execute("BEGIN IMMEDIATE")
        threading.Event().wait(seconds)
        raw.driver_connection.execute("ROLLBACK")
        raw.close()
        engine.dispose()

    def read_only(self) -> None:
        """Remount; nobody may have the file open, so the collector must be down."""
        _run("mount", "-o", "remount,ro", str(self._folder))

    def writable(self) -> None:
        """Remount again."""
        _run("mount", "-o", f"remount,rw,size={SMALL_MB}m", str(self._folder))


class PostgresStore(_OnSmallDisk):
    """One database of a cluster, its tables in a tablespace on a small disk, reached through a relay."""

    kind = "postgresql"

    def __init__(self, cluster_url: str, disk: Path, proxy: Proxy) -> None:
        super().__init__(disk)
        self._cluster_url = cluster_url.replace("+psycopg", "")
        self.folder = socket_folder(cluster_url)
        self.name = f"faulty_{next(_names)}"
        space = disk / "space"
        space.mkdir()
        if os.geteuid() == 0:
            shutil.chown(space, postgres_cluster.SERVER_USER)
        self._sql(f"CREATE TABLESPACE {self.name} LOCATION '{space}'")
        self._sql(f"CREATE DATABASE {self.name} TABLESPACE {self.name}")
        self.url = f"postgresql+psycopg://postgres@127.0.0.1:{proxy.port}/{self.name}"
        self.direct_url = cluster_url.replace("/postgres?", f"/{self.name}?")

    def drop(self) -> None:
        """Remove it, so that the disk can go."""
        self._end_connections()
        self._sql(f"DROP DATABASE {self.name} WITH (FORCE)")
        self._sql(f"DROP TABLESPACE {self.name}")

    def locked(self, seconds: float) -> None:
        """Hold the lock that a change of the table's form takes."""
        with psycopg.connect(self.direct_url.replace("+psycopg", "")) as connection:
            connection.execute("LOCK TABLE shots IN ACCESS EXCLUSIVE MODE")
            threading.Event().wait(seconds)
            connection.rollback()

    def read_only(self) -> None:
        """Every transaction from now on may only read, as on a standby server."""
        self._sql(f"ALTER DATABASE {self.name} SET default_transaction_read_only = on")
        self._end_connections()

    def writable(self) -> None:
        """Take it back."""
        self._sql(f"ALTER DATABASE {self.name} RESET default_transaction_read_only")
        self._end_connections()

    def stopped(self) -> None:
        """End the server as a power cut would."""
        postgres_cluster.stop(self.folder)

    def started(self) -> None:
        """Start it again."""
        postgres_cluster.start(self.folder)

    def _end_connections(self) -> None:
        self._sql(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", (self.name,)
        )

    def _sql(self, text: str, values: tuple[str, ...] | None = None) -> None:
        with psycopg.connect(self._cluster_url, autocommit=True) as connection:
            connection.execute(text, values)  # type: ignore[call-overload]


def socket_folder(cluster_url: str) -> Path:
    """Folder of a cluster, which its URL names."""
    return Path(cluster_url.partition("host=")[2])


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True, timeout=30)
