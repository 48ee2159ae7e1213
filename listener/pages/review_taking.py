"""Takes recordings, transcripts and exported runs that are dropped on the page, one after another, into the archive."""

from __future__ import annotations

import queue
import secrets
import shutil
import tempfile
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

from listener.archive import Archive
from listener.archive.exchange import bring_in
from listener.archive.keeping import keep
from listener.bars import Progress
from listener.errors import CrownsoleError, InputError, StorageError, UsageError
from listener.hear import hear_file
from listener.pages.visiting import Visitor
from listener.runs import Ears, Options, lexicon_of, read_text

#: Bytes of one file at most, and of a transcript.
LARGEST = 2 * 1024**3
LARGEST_TEXT = 32 * 1024**2
_MOST_WAITING = 50
_MOST_REMEMBERED = 400
_LONGEST_NAME = 120
_SPARE = 256 * 1024**2
_TEXT = (".txt", ".text", ".md")

#: Makes the ears once they are needed; it tells how far it is.
MakeEars = Callable[[Progress], Ears]


@dataclass(frozen=True, slots=True)
class Job:
    """A file on its way in. ``state``: waiting, working, done (then ``run`` names it), failed (``said`` tells why);
    ``sender`` the account it came from, where there are accounts.
    """

    id: str
    name: str
    state: str = "waiting"
    said: str = "waiting for its turn"
    done: float | None = None
    run: str | None = None
    sender: str | None = None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


class Taking:
    """The files of one server on their way in. Safe to use from several threads; one works."""

    def __init__(self, archive: Archive, ears: MakeEars, options: Options) -> None:
        self._archive, self._ears, self._options = archive, ears, options
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self._waiting: queue.SimpleQueue[tuple[str, Path, Visitor | None]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._made: Ears | None = None

    def job(self, number: str, visitor: Visitor | None = None) -> Job:
        """How far a file is. Raises :class:`InputError` for a file that was never here, or came from someone else."""
        with self._lock:
            job = self._jobs.get(number)
        if job is None or (visitor is not None and job.sender != visitor.name):
            raise InputError("This file is not on its way in.")
        return job

    def under_way(self, visitor: Visitor | None = None) -> tuple[Job, ...]:
        """The files that wait or are being worked on, in their order."""
        with self._lock:
            jobs = [job for job in self._jobs.values() if job.state in ("waiting", "working")]
        return tuple(job for job in jobs if visitor is None or job.sender == visitor.name)

    def place(self, name: str) -> Path:
        """A new file, in a folder of its own, for what is sent under a name. Raises :class:`StorageError`."""
        if len(self.under_way()) >= _MOST_WAITING:
            raise UsageError(f"{_MOST_WAITING} files are waiting already. Send more when they are done.")
        try:
            folder = Path(tempfile.mkdtemp(prefix="crownsole-"))
            if shutil.disk_usage(folder).free < _SPARE:
                folder.rmdir()
                raise StorageError("There is too little room left on the disk of this machine for another file.")
        except OSError as error:
            raise StorageError(f"The file cannot be put down on this machine ({error.strerror}).") from None
        return folder / safe_name(name)

    def write(self, target: BinaryIO, data: bytes) -> None:
        """Write a part of a file. Raises :class:`StorageError`."""
        try:
            target.write(data)
        except OSError as error:
            raise StorageError(f"The file cannot be put down on this machine ({error.strerror}).") from None

    def drop(self, path: Path) -> None:
        """Remove a file that was put down, and its folder."""
        shutil.rmtree(path.parent, ignore_errors=True)

    def add(self, path: Path, visitor: Visitor | None = None) -> Job:
        """Take a file that is complete, in its turn. What a learner sends is a run of theirs."""
        job = Job(secrets.token_hex(8), path.name, sender=visitor.name if visitor else None)
        with self._lock:
            for old in [number for number, one in self._jobs.items() if one.state in ("done", "failed")]:
                if len(self._jobs) < _MOST_REMEMBERED:
                    break
                del self._jobs[old]
            self._jobs[job.id] = job
            self._waiting.put((job.id, path, visitor))
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="taking", daemon=True)
                self._thread.start()
        return job

    def _work(self) -> None:
        while True:
            number, path, visitor = self._waiting.get()
            try:
                self._tell(number, state="working", said="looking at it")
                run = self._take(path, self._progress(number), visitor)
                self._tell(number, state="done", said="kept", done=None, run=run)
            except CrownsoleError as error:
                said = str(error).replace(f"{path.parent}/", "")
                self._tell(number, state="failed", said=said, done=None)
            except Exception:
                self._tell(number, state="failed", said="The program failed on this file. Nothing was kept of it.")
            finally:
                self.drop(path)

    def _take(self, path: Path, progress: Progress, visitor: Visitor | None) -> str:
        """Put a file into the archive; the id of its run. What it is, its first bytes and its name tell."""
        with path.open("rb") as file:
            start = file.read(4096)
        if not start:
            raise InputError(f"{path.name} is empty.")
        learner = visitor.learner if visitor else None
        if start.startswith(b"PK\x03\x04"):
            if learner is not None:
                raise InputError(f"{path.name} is a run from elsewhere, with what others said of it: ask an educator.")
            return bring_in(self._archive, path).id
        if path.suffix.lower() in _TEXT or _reads_as_text(start):
            return self._read(path, learner)
        return self._hear(path, progress, learner)

    def _read(self, path: Path, learner: str | None) -> str:
        if path.stat().st_size > LARGEST_TEXT:
            raise InputError(f"{path.name} is longer than a transcript of a run can be.")
        transcript = read_text(path)
        lexicon = lexicon_of(self._options)
        checklist = self._options.checklist
        return keep(self._archive, transcript, lexicon, checklist=checklist, learner=learner).run.id

    def _hear(self, path: Path, progress: Progress, learner: str | None) -> str:
        if self._made is None:
            self._made = self._ears(progress)
        ears, options = self._made, self._options
        transcript = hear_file(path, ears.folder, restore=ears.restore, progress=progress, isolate=True)
        progress(f"keeping {path.name}")
        record = keep(
            self._archive, transcript, lexicon_of(options), sound=path, checklist=options.checklist, model=ears.info,
            learner=learner,
        )
        return record.run.id

    def _progress(self, number: str) -> Progress:
        name = self.job(number).name

        def progress(step: str, done: float = 0.0, total: float | None = None) -> None:
            share = min(done / total, 1.0) if total else None
            self._tell(number, said=step.replace(name, "").strip(), done=share)

        return progress

    def _tell(self, number: str, **news: Any) -> None:
        with self._lock:
            self._jobs[number] = replace(self._jobs[number], **news)


def safe_name(name: str) -> str:
    """A name for a file that is nothing but a name: no folders, no signs that cannot be seen, not too long."""
    last = name.replace("\\", "/").rpartition("/")[2]
    shown = "".join(sign for sign in last if sign.isprintable()).strip().lstrip(".")
    stem, dot, suffix = shown.rpartition(".")
    if not dot or len(suffix) > 12:
        stem, suffix = shown, ""
    cut = stem[: _LONGEST_NAME - len(suffix) - 1].strip() or "recording"
    while len(cut.encode()) > 200:
        cut = cut[:-1]
    return f"{cut}.{suffix}" if suffix else cut


def _reads_as_text(start: bytes) -> bool:
    if b"\0" in start:
        return start[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        start[: len(start) - 4 if len(start) == 4096 else None].decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
