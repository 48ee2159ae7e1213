"""Schools for the attempts, once in each database."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256

import pytest

from listener.archive import open_archive
from tests.listener import postgres
from tests.listener.school.schools import Set, served


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def school(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Set]:
    """One school for the attempts that leave nothing behind."""
    with open_archive(_place(request, tmp_path_factory)) as archive, served(archive) as made:
        yield made


@pytest.fixture(params=["sqlite", "postgresql"])
def fresh(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Set]:
    """A school of its own for an attempt that changes something."""
    with open_archive(_place(request, tmp_path_factory)) as archive, served(archive) as made:
        yield made


@pytest.fixture(autouse=True)
def _later(request: pytest.FixtureRequest) -> None:
    """Failures of earlier attempts do not shut out later ones."""
    for name in ("school", "fresh"):
        if name in request.fixturenames:
            request.getfixturevalue(name).clock.now += 4 * 3600


def _place(request: pytest.FixtureRequest, folders: pytest.TempPathFactory) -> str:
    if request.param == "sqlite":
        return str(folders.mktemp("school") / "archive.sqlite3")
    url = request.getfixturevalue("postgres_server")
    return postgres.new_database(url, f"s{sha256(request.node.nodeid.encode()).hexdigest()[:20]}")
