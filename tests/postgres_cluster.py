"""A throw-away PostgreSQL cluster, run by the server's own programs as a user other than root."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SERVER_USER = "postgres"


def missing() -> str | None:
    """What is missing to run a cluster here, None when nothing is."""
    if programs() is None:
        return "PostgreSQL server programs (Debian package postgresql-15)"
    if os.geteuid() == 0 and not _has_user(SERVER_USER):
        return f"a system user {SERVER_USER}, since the server refuses to run as root"
    return None


def programs() -> Path | None:
    """Folder of initdb and pg_ctl: the newest that Debian installed, or the one on the path."""
    installed = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3])
    )
    found = installed[-1] if installed else shutil.which("initdb")
    return None if found is None else Path(found).parent


@contextmanager
def cluster(*, durable: bool = False) -> Iterator[str]:
    """Start a cluster on a Unix socket and remove it at the end.

    Parameters
    ----------
    durable : bool
        Whether a commit waits for the disk; tests of behavior do without.

    Yields
    ------
    str
        URL of its database `postgres`.
    """
    folder = Path(tempfile.mkdtemp(prefix="evenrun-pg-"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, SERVER_USER)
        _run("initdb", "-D", folder / "data", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        _configure(folder, durable=durable)
        start(folder)
        try:
            yield f"postgresql+psycopg://postgres@/postgres?host={folder}"
        finally:
            stop(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def start(folder: Path) -> None:
    """Start the server of a cluster that was stopped, and wait until it answers."""
    _run("pg_ctl", "-D", folder / "data", "-l", folder / "log", "-w", "start")


def stop(folder: Path) -> None:
    """Stop it without a checkpoint, as a power cut would."""
    _run("pg_ctl", "-D", folder / "data", "-m", "immediate", "stop")


def _configure(folder: Path, *, durable: bool) -> None:
    lines = (
        f"unix_socket_directories = '{folder}'", "listen_addresses = ''",
        f"fsync = {'on' if durable else 'off'}",
    )  # fmt: skip
    with (folder / "data" / "postgresql.conf").open("a", encoding="utf-8") as file:
        file.write("\n".join(("", *lines, "")))


def _run(program: str, *arguments: str | Path) -> None:
    folder = programs()
    assert folder is not None  # callers ask missing() first
    command = [str(folder / program), *map(str, arguments)]
    if os.geteuid() == 0:
        command = ["runuser", "-u", SERVER_USER, "--", *command]
    done = subprocess.run(
        command, cwd="/", stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False, timeout=60
    )
    if done.returncode:
        raise RuntimeError(f"{program} failed: {done.stdout}")


def _has_user(name: str) -> bool:
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True
