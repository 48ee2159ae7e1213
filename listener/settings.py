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


def tuned(conf: str, settings: Settings = STANDARD) -> str:
    """The text of a ``conf/model.conf`` with the settings in it; all else is kept."""
    values = {"lattice-beam": settings.lattice_beam, "endpoint.rule5.min-utterance-length": settings.longest_s}
    kept = [line for line in conf.splitlines() if not re.match(rf"\s*--({'|'.join(map(re.escape, values))})\s*=", line)]
    return "\n".join([*kept, *(f"--{name}={value}" for name, value in values.items())]) + "\n"


def configured(folder: ModelFolder, settings: Settings = STANDARD) -> Path:
    """A folder with the files of the model and the settings in its conf; made once, kept in the cache.

    A model whose conf has the settings already, or has no such file (the flat layout), is taken as it is.
    Where the cache cannot be written, the folder lasts as long as the process.
    """
    conf = folder.path / "conf" / "model.conf"
    if not conf.is_file():
        return folder.path
    text = conf.read_text(encoding="utf-8", errors="replace")
    wanted = tuned(text, settings)
    if wanted == text:
        return folder.path
    place = str(folder.path.resolve()) + folder.fingerprint
    key = hashlib.sha256(f"{place}\0{wanted}".encode(errors="surrogateescape")).hexdigest()[:24]
    try:
        return _linked(folder.path.resolve(), cache_folder() / "configured" / key, wanted)
    except OSError:
        return _linked(folder.path.resolve(), Path(_scratch().name) / key, wanted)


def _linked(model: Path, target: Path, conf: str) -> Path:
    if (target / "conf" / "model.conf").is_file():
        return target
    with locked(target.with_suffix(".lock")):
        if (target / "conf" / "model.conf").is_file():
            return target
        aside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        for source in sorted(model.rglob("*")):
            if source.is_file():
                place = aside / source.relative_to(model)
                place.parent.mkdir(parents=True, exist_ok=True)
                _link(source, place)
        (aside / "conf" / "model.conf").unlink()
        (aside / "conf" / "model.conf").write_text(conf, encoding="utf-8")
        if target.exists():
            shutil.rmtree(target)
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
