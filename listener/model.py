"""Finds, checks and describes the acoustic model.

Order: the folder that was named (``--model``, else the environment), else the stock model in the cache,
else the stock model fetched (see :mod:`listener.model_fetch`).
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from listener.bars import Progress, silent
from listener.errors import ModelError

STOCK_NAME = "vosk-model-small-en-us-0.15"
ENVIRONMENT = "CROWNSOLE_MODEL"
THREE_WAYS = (
    "There are three ways to a model: name the folder of an unpacked English Vosk model with --model "
    f"(or the variable {ENVIRONMENT}); or install Maven, so that the command mvn works; "
    "or let Vosk's own downloader reach the network. Then run: crownsole model fetch"
)

_SUMS = Path(__file__).with_name("model.sha256")
_SAMPLE = 1 << 16
_STRIDE = 1 << 24
_WHOLE = 1 << 28


@dataclass(frozen=True, slots=True)
class ModelFolder:
    """A model on disk, checked for completeness.

    ``stock``: every file is that of the stock model. ``fingerprint``: a hash of the contents that serves
    as a cache key. ``replaceable``: the language model stands in a file of its own, so that a vocabulary
    can be compiled into a copy. ``vocabulary``: name of the vocabulary compiled into it, else None.
    ``remarks``: sentences a person should see.
    """

    path: Path
    name: str
    stock: bool
    fingerprint: str
    replaceable: bool
    vocabulary: str | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with a copy of the stock model: paths inside its folder."""

    missing: tuple[str, ...]
    changed: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.missing or self.changed)

    def __str__(self) -> str:
        parts = [f"{word}: {', '.join(names)}" for word, names in
                 (("missing", self.missing), ("changed", self.changed)) if names]
        return "; ".join(parts) or "nothing"


def cache_folder() -> Path:
    """Where this program keeps what it can fetch or build again: ``CROWNSOLE_CACHE``, else the user's cache."""
    named = os.environ.get("CROWNSOLE_CACHE")
    if named:
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("crownsole", appauthor=False)


def stock_folder() -> Path:
    """Where the stock model is, or would be, in the cache."""
    return cache_folder() / "models" / STOCK_NAME


@lru_cache(maxsize=1)
def stock_sums() -> Mapping[str, str]:
    """Path inside the stock model -> SHA-256 of the file, in hexadecimal."""
    lines = (line.split(maxsplit=1) for line in _SUMS.read_text(encoding="ascii").splitlines() if line.strip())
    return {name.strip(): digest for digest, name in lines}


def find_model(path: Path | None = None, *, fetch: bool = True, progress: Progress = silent) -> ModelFolder:
    """The model to hear with.

    ``path`` is a folder given by the user; None takes the environment's, else the stock model, fetched
    when absent or damaged and ``fetch`` allows it. Raises :class:`ModelError`.
    """
    named = path or (Path(os.environ[ENVIRONMENT]) if os.environ.get(ENVIRONMENT) else None)
    if named is not None:
        return given_model(named.expanduser())
    folder = stock_folder()
    faults = _quick_faults(folder) if folder.exists() else None
    if faults is not None and not faults:
        return _stock(folder)
    if not fetch:
        if faults:
            raise ModelError(f"The acoustic model in {folder} is damaged ({faults}). Run: crownsole model fetch")
        raise ModelError(f"The acoustic model is not on this machine yet. {THREE_WAYS}")
    from listener.model_fetch import fetch_stock

    fetch_stock(folder, progress)
    if faults:
        return _stock(folder, (f"The acoustic model was damaged ({faults}) and has been fetched anew.",))
    return _stock(folder)


def given_model(folder: Path) -> ModelFolder:
    """A folder the user named, used as it is when it is complete. Raises :class:`ModelError` naming what is missing."""
    if not folder.exists():
        raise ModelError(f"The model folder {folder} does not exist.")
    if not folder.is_dir():
        raise ModelError(f"{folder} is a file; a model is a folder. Unpack it, then name the folder.")
    missing = missing_parts(folder)
    if missing:
        raise ModelError(f"{folder} is not a complete Vosk model: it lacks {', '.join(missing)}.{_nested_hint(folder)}")
    if _is_stock(folder):
        return _stock(folder)
    return ModelFolder(folder, folder.resolve().name, False, fingerprint(folder), _replaceable(folder))


def missing_parts(folder: Path) -> tuple[str, ...]:
    """What a folder lacks of a Vosk model, in words; empty when complete (both layouts that Vosk reads).

    Layouts: with ``am/``, ``conf/`` and ``graph/``; or all flat in one folder. The graph is one file
    (HCLG.fst with words.txt) or two (HCLr.fst and Gr.fst).
    """
    if (folder / "final.mdl").is_file() and not (folder / "am").exists():
        graph, needed = "", ["final.mdl", "mfcc.conf", "word_boundary.int"]
    else:
        graph = "graph/"
        needed = ["am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/phones/word_boundary.int"]
    if (folder / f"{graph}HCLG.fst").is_file():
        needed += [f"{graph}HCLG.fst", f"{graph}words.txt"]
    elif any((folder / f"{graph}{name}").is_file() for name in ("HCLr.fst", "Gr.fst")):
        needed += [f"{graph}HCLr.fst", f"{graph}Gr.fst", f"{graph}disambig_tid.int"]
    else:
        needed.append(f"{graph}HCLG.fst (or HCLr.fst and Gr.fst)")
    if (folder / "ivector").is_dir():
        needed += [f"ivector/{name}" for name in ("final.ie", "final.dubm", "final.mat", "global_cmvn.stats")]
    return tuple(name for name in needed if not _filled(folder / name))


def verify_stock(folder: Path, progress: Progress = silent) -> Faults:
    """Hash every file of a copy of the stock model and renew its stamp."""
    missing, changed = [], []
    sums = stock_sums()
    for number, (name, digest) in enumerate(sums.items()):
        progress("checking the acoustic model", number, len(sums))
        if not (folder / name).is_file():
            missing.append(name)
        elif file_hash(folder / name) != digest:
            changed.append(name)
    faults = Faults(tuple(missing), tuple(changed))
    if faults:
        _stamp_path(folder).unlink(missing_ok=True)
    else:
        write_stamp(folder)
    return faults


def file_hash(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def fingerprint(folder: Path) -> str:
    """A hash of names and contents; of a file above 256 MiB, only of its size and of 64 KiB in every 16 MiB."""
    total = hashlib.sha256()
    for name, path in _files(folder):
        size = path.stat().st_size
        total.update(f"{name}\0{size}\0".encode())
        if size <= _WHOLE:
            total.update(file_hash(path).encode())
            continue
        with open(path, "rb") as stream:
            for place in (*range(0, size, _STRIDE), size - _SAMPLE):
                stream.seek(place)
                total.update(stream.read(_SAMPLE))
    return total.hexdigest()


def write_stamp(folder: Path) -> None:
    """Remember sizes and times of files that were just hashed, so that the next start need not hash them.

    A stamp that cannot be written is left out: the next start hashes again.
    """
    try:
        _stamp_path(folder).write_text(json.dumps(_sizes(folder)), encoding="utf-8")
    except OSError:
        return


def _stock(folder: Path, remarks: tuple[str, ...] = ()) -> ModelFolder:
    digest = hashlib.sha256(_SUMS.read_bytes()).hexdigest()
    return ModelFolder(folder, STOCK_NAME, True, digest, True, remarks=remarks)


def _quick_faults(folder: Path) -> Faults:
    try:
        stamp = json.loads(_stamp_path(folder).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        stamp = None
    return Faults((), ()) if stamp is not None and stamp == _sizes(folder) else verify_stock(folder)


def _sizes(folder: Path) -> dict[str, list[int] | None]:
    found: dict[str, list[int] | None] = {}
    for name in stock_sums():
        try:
            facts = (folder / name).stat()
            found[name] = [facts.st_size, facts.st_mtime_ns]
        except OSError:
            found[name] = None
    return found


def _stamp_path(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}.checked.json")


def _is_stock(folder: Path) -> bool:
    sums = stock_sums()
    if not all((folder / name).is_file() for name in sums):
        return False
    by_size = sorted(sums, key=lambda name: (folder / name).stat().st_size)
    return all(file_hash(folder / name) == sums[name] for name in by_size)


def _replaceable(folder: Path) -> bool:
    """Whether the language model is a file of its own: HCLr.fst beside Gr.fst, and no HCLG.fst."""
    return (folder / "graph" / "Gr.fst").is_file() and not (folder / "graph" / "HCLG.fst").exists()


def _nested_hint(folder: Path) -> str:
    inside = [child for child in sorted(folder.iterdir()) if child.is_dir() and not missing_parts(child)]
    return f" Did you mean {inside[0]}?" if inside else ""


def _filled(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            yield path.relative_to(folder).as_posix(), path
