"""A new pack to start from: a commented folder that passes the check as it is."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from pathlib import Path

from lexicon import DATA
from listener.errors import StorageError, UsageError

STARTER = DATA.with_name("starter")
_PLACEHOLDER = "NAME_OF_THE_PACK"


def name_of(folder: Path) -> str:
    """The name of a pack from that of its folder. Raises :class:`UsageError` when nothing of it can be used."""
    name = re.sub(r"[^a-z0-9_-]+", "-", folder.absolute().name.lower()).strip("-_")[:60]
    if not name:
        raise UsageError(f"'{folder.name}' gives the pack no name. Use letters or digits.")
    return name


def new_pack(folder: Path) -> tuple[str, ...]:
    """Make the folder with the files of a starting pack, all or none; returns their names in order.

    Raises :class:`StorageError` when the folder holds something already or cannot be made.
    """
    name = name_of(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StorageError(f"{folder} is there already and not empty. Name a new folder; nothing was changed.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
        try:
            made = aside / "pack"
            shutil.copytree(STARTER, made, ignore=shutil.ignore_patterns("__pycache__", "*.py"))
            for path in made.rglob("*"):
                if path.is_file():
                    path.write_text(path.read_text(encoding="utf-8").replace(_PLACEHOLDER, name), encoding="utf-8")
            os.replace(made, folder)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    except OSError as error:
        raise StorageError(f"{folder} cannot be made ({error.strerror or error}).") from None
    return tuple(sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()))
