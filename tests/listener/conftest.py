"""Fixtures that several tests of listening share: archives in both databases."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from listener.archive import Archive, open_archive
from tests.listener import postgres


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    with postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A path, and the URL of a new database."""
    if request.param == "sqlite":
        return str(tmp_path / "kept" / "archive.sqlite3")
    url = request.getfixturevalue("postgres_server")
    return postgres.new_database(url, f"t{sha256(request.node.nodeid.encode()).hexdigest()[:20]}")


@pytest.fixture
def archive(place: str) -> Iterator[Archive]:
    """A new archive, once in each database."""
    with open_archive(place) as opened:
        yield opened


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Archive]:
    """A new archive in a file, for what is the same in any database."""
    with open_archive(tmp_path / "archive.sqlite3") as opened:
        yield opened
