"""What is done: one file an outcome, written whole or not at all, so that a cohort that breaks off goes on."""

from __future__ import annotations

import gzip
import hashlib
import json
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from listener.cohort.files import Item
from listener.cohort.jobs import Outcome, Setting
from listener.errors import InputError, StorageError
from listener.output import emit
from listener.progress.figures import SCHEME

#: Another way of making outcomes needs another name; files are then worked on anew.
_WAY = f"crownsole-cohort/1 {SCHEME}"
_PIECE = 1 << 20


def key_of(item: Item, setting: Setting, model: str, lexicon: str) -> str:
    """The name of a file's content and of all it is heard with. Raises :class:`InputError`.

    ``model`` names model and vocabulary, ``lexicon`` the lexicon with its packs.
    """
    content = hashlib.sha256()
    try:
        with open(item.path, "rb") as stream:
            while piece := stream.read(_PIECE):
                content.update(piece)
    except OSError as error:
        raise InputError(f"{item.name} cannot be read ({error.strerror}).") from None
    options = setting.options
    heard = [model, setting.stock] if item.kind == "sound" else []
    told: list[Any] = [_WAY, item.name, item.kind, content.hexdigest(), lexicon, options.checklist,
                       repr(options.settings), heard]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:32]


class Ledger:
    """The outcomes in a folder. Those of failed files are kept too; lost ones are not: they are tried anew."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StorageError(f"{folder} cannot be made ({error.strerror}).") from None

    def put(self, outcome: Outcome) -> None:
        """Keep an outcome, over an earlier one of the same key. Raises :class:`StorageError`."""
        if outcome.state == "lost":
            return
        body = json.dumps(outcome.as_json(), ensure_ascii=False).encode()
        emit(gzip.compress(body, 5, mtime=0), self._whole(outcome.key), force=True)
        brief = replace(outcome, record="-", page="", words=None) if outcome.record else outcome
        emit(json.dumps(brief.as_json(), ensure_ascii=False).encode(), self._brief(outcome.key), force=True)

    def brief(self, key: str) -> Outcome | None:
        """The outcome without record, page and words (its record is "-"); None when there is none or it is damaged."""
        try:
            made = Outcome.from_json(json.loads(self._brief(key).read_bytes()))
        except (OSError, ValueError):
            return None
        return made if made.key == key and (made.state != "done" or self._whole(key).is_file()) else None

    def whole(self, key: str) -> Outcome | None:
        """The outcome with everything; None when there is none or it is damaged."""
        try:
            made = Outcome.from_json(json.loads(gzip.decompress(self._whole(key).read_bytes())))
        except (OSError, ValueError, EOFError, zlib.error):
            return None
        return made if made.key == key else None

    def all(self, keys: Iterator[str] | list[str]) -> Iterator[Outcome]:
        """The whole outcomes of the keys, one at a time; those that are gone are left out."""
        for key in keys:
            outcome = self.whole(key)
            if outcome is not None:
                yield outcome

    def _whole(self, key: str) -> Path:
        return self.folder / f"{key}.json.gz"

    def _brief(self, key: str) -> Path:
        return self.folder / f"{key}.json"
