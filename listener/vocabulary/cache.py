"""Compiled models in the cache: made once for a model and a lexicon, checked at every start, made anew if damaged."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from lexicon import Lexicon, sounds
from listener.bars import Progress, silent
from listener.doubt import DoubtingRestorer, KeyWords
from listener.errors import StorageError
from listener.locking import locked
from listener.model import ModelFolder, cache_folder, file_hash, given_model
from listener.settings import tuned
from listener.vocabulary.building import STANDARD, STEPS, Recipe, build
from listener.vocabulary.mapping import Restorer

_MANIFEST = "vocabulary.json"
_MADE = ("graph/Gr.fst", "graph/words.txt", "graph/ways.json")
_KEPT = 4


@dataclass(frozen=True)
class CompiledModel:
    """A model to hear with. ``folder`` is what the recogniser loads; ``restore`` turns what it says into
    words and marks those in doubt; ``spellings`` are the ways in which trade words are heard.

    ``name`` identifies the vocabulary, None when the model is used as it is; ``weight`` is the share of
    dictation in the grammar of dictation; ``remarks`` are sentences a person should see.
    """

    folder: ModelFolder
    restore: DoubtingRestorer
    spellings: Restorer
    name: str | None
    weight: float
    remarks: tuple[str, ...] = ()

    @property
    def path(self) -> Path:
        return self.folder.path


def compiled(
    model: ModelFolder | Path, lexicon: Lexicon, *, recipe: Recipe = STANDARD, progress: Progress = silent,
    cache: Path | None = None,
) -> CompiledModel:
    """The model with the lexicon's vocabulary compiled into it; from the cache when it is there and whole.

    A model whose language model cannot be replaced is given back as it is, with a remark.
    Raises :class:`~listener.errors.ModelError`, :class:`~listener.errors.LexiconInvalid` for words that cannot
    be heard, and :class:`StorageError` when the cache cannot be written.
    """
    folder = given_model(model) if isinstance(model, Path) else model
    if not folder.replaceable:
        said = (f"The language model of {folder.name} cannot be replaced; it is used as it is, "
                "and trade words are repaired after hearing.",)
        keys = KeyWords.of(lexicon)
        as_it_is = replace(folder, remarks=(*folder.remarks, *said))
        return CompiledModel(as_it_is, DoubtingRestorer(Restorer(()), keys), Restorer(()), None, 0.0, said)
    key = _key(folder, lexicon, recipe)
    target = (cache or cache_folder()) / "vocabularies" / key
    if _whole(target):
        return _loaded(target, folder, lexicon, recipe)
    try:
        with locked(target.with_suffix(".lock"), lambda: progress("another process is compiling the vocabulary")):
            damaged = target.exists() and not _whole(target)
            if damaged or not target.exists():
                _make(target, folder, lexicon, recipe, progress)
            repaired = ("The compiled vocabulary in the cache was damaged and has been made anew.",) if damaged else ()
            return _loaded(target, folder, lexicon, recipe, repaired)
    except OSError as error:
        raise StorageError(
            f"The vocabulary could not be written to {target.parent} ({error.strerror or error}). "
            "Make room for 200 MB there, or name another cache folder."
        ) from error


def _make(target: Path, model: ModelFolder, lexicon: Lexicon, recipe: Recipe, progress: Progress) -> None:
    aside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    try:
        _link_model(model.path.resolve(), aside)
        build(model.path, lexicon, aside / "graph", recipe, progress)
        _write_manifest(aside)
        if target.exists():
            shutil.rmtree(target)
        os.replace(aside, target)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    progress("vocabulary compiled", STEPS, STEPS)
    _forget_old(target)


def _link_model(model: Path, aside: Path) -> None:
    """Everything of the model but its language model: links where the system allows, else copies; conf is tuned."""
    confs = tuned(model)
    for source in sorted(model.rglob("*")):
        name = source.relative_to(model).as_posix()
        if not source.is_file() or name in _MADE:
            continue
        place = aside / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if name in confs:
            place.write_text(confs[name], encoding="utf-8")
            continue
        try:
            place.symlink_to(source)
        except OSError:
            shutil.copyfile(source, place)


def _write_manifest(folder: Path) -> None:
    files = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file():
            files[name] = file_hash(path) if not path.is_symlink() else path.stat().st_size
    (folder / _MANIFEST).write_text(json.dumps(files), encoding="utf-8")


def _whole(target: Path) -> bool:
    """Whether a compiled model is as it was written: own files by hash, linked ones by size."""
    try:
        files = json.loads((target / _MANIFEST).read_text(encoding="utf-8"))
        return bool(files) and all(
            (target / name).stat().st_size == fact if isinstance(fact, int) else file_hash(target / name) == fact
            for name, fact in files.items()
        )
    except (OSError, ValueError, AttributeError):
        return False


def _loaded(
    target: Path, model: ModelFolder, lexicon: Lexicon, recipe: Recipe, said: tuple[str, ...] = ()
) -> CompiledModel:
    os.utime(target)
    key = target.name
    remarks = (*model.remarks, *said)
    folder = replace(model, path=target, fingerprint=key, replaceable=False, vocabulary=key[:12], remarks=remarks)
    restorer = Restorer.load(target / "graph" / "ways.json")
    restore = DoubtingRestorer(restorer, KeyWords.of(lexicon))
    return CompiledModel(folder, restore, restorer, key[:12], recipe.weight, said)


def _forget_old(target: Path) -> None:
    """Remove the vocabularies that were not used for longest."""
    others = [path for path in target.parent.iterdir() if path.is_dir() and not path.name.startswith(".")]
    for path in sorted(others, key=lambda path: path.stat().st_mtime, reverse=True)[_KEPT:]:
        shutil.rmtree(path, ignore_errors=True)
        path.with_suffix(".lock").unlink(missing_ok=True)


def _key(model: ModelFolder, lexicon: Lexicon, recipe: Recipe) -> str:
    parts = (model.fingerprint, str(model.path.resolve()), lexicon.version, repr(recipe), _code_version())
    return hashlib.sha256("\0".join(parts).encode(errors="surrogateescape")).hexdigest()[:24]


@lru_cache(maxsize=1)
def _code_version() -> str:
    """A hash of the code that makes vocabularies: a new release compiles anew."""
    total = hashlib.sha256()
    for path in (*sorted(Path(__file__).parent.glob("*.py")), Path(sounds.__file__)):
        total.update(path.read_bytes())
    return total.hexdigest()
