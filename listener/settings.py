"""How the recogniser is set: values measured on dictation, and the copy of a model that carries them."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from listener.locking import locked
from listener.model import ModelFolder, cache_folder

#: Hesitations, and how the recogniser spells them. Not "ah" (said when the throat is looked at), not "oh" (a digit).
FILLERS = frozenset(["uh", "uhm", "um", "umm", "er", "erm", "hm", "hmm", "hmmm", "huh", "mm", "mmm", "eh"])

#: Words that the recogniser makes of noise when they stand alone (seen in tap, traffic, babble and fan).
NOISE = FILLERS | frozenset([
    "a", "aah", "ah", "and", "but", "ha", "he", "her", "hey", "him", "his", "i", "if", "in", "it", "of", "oh", "so",
    "that", "the", "they", "this", "to", "we", "you",
])


@dataclass(frozen=True, slots=True)
class Settings:
    """``lattice_beam``: width of the lattice the confidences come from (at the shipped 2 a third of the wrong
    words carry confidence 1). ``longest_s``: an utterance is cut after so many seconds without a pause.
    ``refresh_s``: a fresh recogniser is taken at a pause after so many seconds, so that memory stays flat.
    """

    lattice_beam: float = 6.0
    longest_s: float = 20.0
    refresh_s: float = 240.0
    fillers: frozenset[str] = FILLERS
    noise: frozenset[str] = NOISE


STANDARD = Settings()


def tuned(folder: Path, settings: Settings = STANDARD) -> dict[str, str]:
    """The texts of a model's conf files with the settings in them, by path inside the folder; all else is kept.

    Random dither is switched off, since :mod:`listener.recognizer` adds its own: the same sound must give the
    same words.
    """
    found = {}
    for name, values in (
        ("conf/model.conf", {"lattice-beam": settings.lattice_beam,
                             "endpoint.rule5.min-utterance-length": settings.longest_s}),
        ("conf/mfcc.conf", {"dither": 0.0}),
        ("mfcc.conf", {"dither": 0.0}),
    ):
        if (folder / name).is_file():
            found[name] = _set((folder / name).read_text(encoding="utf-8", errors="replace"), values)
    return found


def configured(folder: ModelFolder, settings: Settings = STANDARD) -> Path:
    """A folder with the files of the model and the settings in its conf; made once, kept in the cache.

    Where the cache cannot be written, the folder lasts as long as the process.
    """
    wanted = tuned(folder.path, settings)
    place = f"{folder.path.resolve()}\0{folder.fingerprint}\0{wanted}"
    key = hashlib.sha256(place.encode(errors="surrogateescape")).hexdigest()[:24]
    try:
        return _linked(folder.path.resolve(), cache_folder() / "configured" / key, wanted)
    except OSError:
        return _linked(folder.path.resolve(), Path(_scratch().name) / key, wanted)


def _set(conf: str, values: dict[str, float]) -> str:
    names = "|".join(map(re.escape, values))
    kept = [line for line in conf.splitlines() if not re.match(rf"\s*--({names})\s*=", line)]
    return "\n".join([*kept, *(f"--{name}={value}" for name, value in values.items())]) + "\n"


def _linked(model: Path, target: Path, confs: dict[str, str]) -> Path:
    if target.is_dir():
        return target
    with locked(target.with_suffix(".lock")):
        if target.is_dir():
            return target
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        for source in sorted(model.rglob("*")):
            name = source.relative_to(model).as_posix()
            place = aside / name
            if source.is_file():
                place.parent.mkdir(parents=True, exist_ok=True)
                if name in confs:
                    place.write_text(confs[name], encoding="utf-8")
                else:
                    _link(source, place)
        os.replace(aside, target)
    return target


def _link(source: Path, place: Path) -> None:
    try:
        place.symlink_to(source)
    except OSError:  # no right to make links: Windows without developer mode, some shared disks
        shutil.copyfile(source, place)


@lru_cache(maxsize=1)
def _scratch() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="crownsole-")
