"""The installed stock model, for tests that need it, and copies of it to spoil."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from listener.errors import ModelError
from listener.model import ModelFolder, find_model


def _installed() -> ModelFolder | None:
    try:
        found = find_model(fetch=False)
    except ModelError:
        if os.environ.get("CI") == "true":
            raise
        return None
    return found if found.stock else None


MODEL = _installed()


def stock() -> ModelFolder:
    """The installed stock model; the test is skipped where there is none."""
    if MODEL is None:
        pytest.skip("the stock model is not installed: run crownsole model fetch")
    return MODEL


def copy_of_stock(folder: Path) -> Path:
    """A copy that may be spoiled: the files are copies, not links."""
    target = folder / "copy"
    shutil.copytree(stock().path, target)
    return target
