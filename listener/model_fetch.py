"""Fetches the stock model: through Maven where its command exists, else through Vosk's own downloader.

Either way into a folder aside, every file checked, then moved into place under a lock, so that no
process ever sees half a model.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path

from listener.bars import Progress
from listener.errors import ModelError
from listener.locking import locked
from listener.model import STOCK_NAME, THREE_WAYS, file_hash, stock_sums, verify_stock

COORDINATES = "com.alphacephei:vosk-model-en:0.3.45:aar"
_ASIDE = ".fetching-"
_INSIDE = "assets/model-en-us/"
_LONGEST_S = 1800.0
_MAVEN_PROGRESS = re.compile(rb"Progress \(\d+\):.*?([\d.]+)/([\d.]+) ([kMG]?B)")
_PERCENT = re.compile(rb"(\d+)%\|")

# Run by a Python of its own, since Vosk may end the process that asks it for a model.
_VOSK_DOWNLOAD = """
import sys, vosk
class Asker(vosk.Model):
    def __init__(self): pass
    def __del__(self): pass
vosk.MODEL_DIRS = [*vosk.MODEL_DIRS, sys.argv[1]]
try:
    print(Asker().get_model_by_name(sys.argv[2]))
except OSError:
    print("Error: the network or the file could not be reached")
except ValueError:
    print("Error: the answer of the network was not understood")
"""


def fetch_stock(folder: Path, progress: Progress) -> None:
    """Put the stock model at ``folder``. Raises :class:`ModelError` that tells what was tried."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        lock = folder.with_name(f"{folder.name}.lock")
        with locked(lock, lambda: progress("waiting for another process that is fetching the acoustic model")):
            if folder.exists() and not verify_stock(folder):
                return
            _sweep(folder.parent)
            with tempfile.TemporaryDirectory(prefix=_ASIDE, dir=folder.parent, ignore_cleanup_errors=True) as name:
                aside = Path(name)
                _fetch_into(aside, progress)
                _move(aside / "model", folder, aside / "old")
                verify_stock(folder, progress)
    except OSError as error:
        reason = error.strerror or error
        raise ModelError(f"The acoustic model could not be stored in {folder.parent}: {reason}.") from error


def _fetch_into(aside: Path, progress: Progress) -> None:
    tried: list[str] = []
    for way in (_by_maven, _by_vosk):
        try:
            way(aside, progress)
            return
        except ModelError as error:
            tried.append(str(error))
            shutil.rmtree(aside / "model", ignore_errors=True)
    raise ModelError(f"The acoustic model could not be fetched. {' '.join(tried)} {THREE_WAYS}")


def _by_maven(aside: Path, progress: Progress) -> None:
    maven = shutil.which("mvn")
    if maven is None:
        raise ModelError("Maven: the command mvn is not installed.")
    step = "fetching the acoustic model (41 MB) with Maven"
    command = [maven, "dependency:copy", f"-Dartifact={COORDINATES}", f"-DoutputDirectory={aside}",
               "-Dmdep.overWriteReleases=true"]

    def told(piece: bytes) -> None:
        found = _MAVEN_PROGRESS.findall(piece)
        if found and found[-1][2] == b"MB":
            progress(step, float(found[-1][0]), float(found[-1][1]))

    progress(step)
    output = _run(command, aside, told)
    archives = list(aside.glob("*.aar"))
    if not archives:
        raise ModelError(f"Maven: {_complaint(output, b'[ERROR]')}.")
    _unpack(archives[0], aside / "model")


def _by_vosk(aside: Path, progress: Progress) -> None:
    step = "fetching the acoustic model (40 MB) with Vosk's downloader"
    target = aside / "download"
    target.mkdir()

    def told(piece: bytes) -> None:
        found = _PERCENT.findall(piece)
        if found:
            progress(step, float(found[-1]), 100.0)

    progress(step)
    output = _run([sys.executable, "-c", _VOSK_DOWNLOAD, str(target), STOCK_NAME], aside, told)
    lines = output.decode("utf-8", "replace").splitlines()
    found = Path(lines[-1]) if lines else target
    if found == target or not found.is_dir():
        raise ModelError(f"Vosk's downloader: {_complaint(output, b'Error')}.")
    for name, digest in stock_sums().items():
        (aside / "model" / name).parent.mkdir(parents=True, exist_ok=True)
        if not (found / name).is_file() or file_hash(found / name) != digest:
            raise ModelError(f"Vosk's downloader: {name} is not the file that was expected.")
        shutil.copyfile(found / name, aside / "model" / name)


def _unpack(archive: Path, target: Path) -> None:
    """Take the known files, and only those, out of the archive; each must have its known hash."""
    try:
        with zipfile.ZipFile(archive) as packed:
            for name, digest in stock_sums().items():
                place = target / name
                place.parent.mkdir(parents=True, exist_ok=True)
                with packed.open(_INSIDE + name) as source, open(place, "wb") as sink:
                    shutil.copyfileobj(source, sink)
                if file_hash(place) != digest:
                    raise ModelError(f"Maven: {name} in {archive.name} is not the file that was expected.")
    except (zipfile.BadZipFile, KeyError, EOFError) as error:
        raise ModelError(f"Maven: {archive.name} is not the archive that was expected ({error}).") from error


def _run(command: list[str], folder: Path, told: Callable[[bytes], None]) -> bytes:
    """Run a command in ``folder``; all it prints, also told piece by piece. It dies with us, and after half an hour."""
    output = bytearray()
    with subprocess.Popen(command, cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT) as process:
        assert process.stdout is not None
        alarm = threading.Timer(_LONGEST_S, process.kill)
        alarm.daemon = True
        alarm.start()
        try:
            while piece := os.read(process.stdout.fileno(), 1 << 14):
                output += piece
                told(bytes(output[-400:]))
        except BaseException:
            process.kill()
            raise
        finally:
            alarm.cancel()
    return bytes(output)


def _complaint(output: bytes, mark: bytes) -> str:
    """The first line with the mark, else the last line, shortened to what a person can read."""
    lines = [line.strip() for line in re.split(rb"[\r\n]+", output) if line.strip()]
    marked = [line for line in lines if mark in line]
    line = (marked or lines[-1:] or [b"it gave no reason"])[-1 if mark == b"Error" else 0]
    text = re.sub(r"\x1b\[[0-9;]*m|\[ERROR\]|^Error:", "", line.decode("utf-8", "replace"))
    return " ".join(text.split())[:240].rstrip(".")


def _move(new: Path, folder: Path, old: Path) -> None:
    if folder.exists():
        os.replace(folder, old)
    os.replace(new, folder)


def _sweep(parent: Path) -> None:
    """Remove what killed processes left; the caller holds the lock, so no living process owns it."""
    for orphan in parent.glob(f"{_ASIDE}*"):
        shutil.rmtree(orphan, ignore_errors=True)
