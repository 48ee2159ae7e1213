"""Where the development data is: data that no one on this project wrote, kept outside the repository.

``CROWNSOLE_SHARED`` names the folder; else a folder ``shared`` beside the checkout is taken. In CI the
data must be there, so a missing folder fails instead of skipping.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


def _find() -> Path | None:
    named = os.environ.get("CROWNSOLE_SHARED")
    folder = Path(named) if named else Path(__file__).resolve().parents[2] / "shared"
    return folder if (folder / "data").is_dir() else None


SHARED = _find()

if SHARED is None and os.environ.get("CI") == "true":
    raise RuntimeError("the development data is missing in CI: set CROWNSOLE_SHARED to its folder")

needs_shared = pytest.mark.skipif(SHARED is None, reason="development data absent: set CROWNSOLE_SHARED to its folder")


def lines_of(path: Path | str) -> Iterator[dict[str, Any]]:
    """The JSON objects of a JSON Lines file."""
    with open(path, encoding="utf-8") as stream:
        for line in stream:
            if line.strip():
                yield json.loads(line)
