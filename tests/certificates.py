"""Certificates for tests, made by the very commands that the README tells people to run."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

README = Path(__file__).resolve().parent.parent / "README.md"


def commands() -> str:
    """The README's block that makes an authority, a broker's certificate and those of its clients."""
    (block,) = [
        each
        for each in README.read_text(encoding="utf-8").split("```sh\n")
        if each.startswith("certificate()")
    ]
    return block.partition("```")[0]


def make(folder: Path) -> Path:
    """Make ca, broker, collector, P1, P2 and light in a new folder; each is NAME.crt and NAME.key."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    folder.mkdir()
    done = subprocess.run(
        ["/bin/sh", "-ec", commands()], cwd=folder, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="session")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of certificates that all tests may read."""
    return make(tmp_path_factory.mktemp("tls") / "certificates")
