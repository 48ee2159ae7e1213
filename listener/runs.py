"""One run from its input to its record: the functions behind the commands."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from listener.bars import Progress, silent
from listener.errors import InputError, LexiconInvalid, UsageError
from parser.settings import USUAL, Settings

if TYPE_CHECKING:
    from lexicon import Lexicon
    from listener.archive.whose import Whose
    from listener.model import ModelFolder
    from listener.tidying import Restore
    from parser.record import ModelInfo, Record
    from parser.transcript import Transcript

_BOMS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))


#: Tables of blood-pressure categories that can be chosen.
PRESSURE_TABLES = ("aha_acc_2025", "esc_2024")


@dataclass(frozen=True)
class Options:
    """What a run is read and audited with. ``packs`` are lexicon folders laid over the built-in one."""

    packs: tuple[str, ...] = ()
    checklist: str = "complete"
    settings: Settings = USUAL


@dataclass(frozen=True)
class Ears:
    """A model ready to hear with, and what maps its spellings back to words."""

    folder: ModelFolder
    restore: Restore | None
    info: ModelInfo


def lexicon_of(options: Options) -> Lexicon:
    """The lexicon with the packs of the options. Raises :class:`LexiconInvalid` with every fault."""
    from lexicon import LexiconError, load
    from parser.audit.checklists import wanted

    try:
        lexicon = load(options.packs)
    except LexiconError as error:
        raise LexiconInvalid("\n".join(error.faults)) from None
    try:
        wanted(lexicon, options.checklist)
    except ValueError as error:
        raise InputError(str(error)) from None
    return lexicon


def record_of(transcript: Transcript, options: Options, model: ModelInfo | None = None) -> Record:
    """Understand, file and audit a transcript."""
    from parser.pipeline import understand_all
    from parser.structurer import file

    lexicon = lexicon_of(options)
    run_id = hashlib.sha256(f"{transcript.source}\n{transcript.text}".encode()).hexdigest()[:12]
    understood = understand_all(transcript, options.packs)
    return file(
        understood,
        transcript,
        lexicon,
        run_id=run_id,
        model=model,
        checklist=options.checklist,
        settings=options.settings,
    )


def read_text(path: Path, data: bytes | None = None) -> Transcript:
    """A transcript from a text file, or from ``data`` already read.

    Takes UTF-8, UTF-16 with a byte-order mark, and Windows-1252. Raises :class:`InputError`.
    """
    from parser.transcript import transcript_of_text

    content = _content(path) if data is None else data
    name = path.name if data is None else "standard input"
    if not content.strip():
        raise InputError(f"{name} is empty. Give a transcript: one utterance a line, or running text.")
    text = _decoded(content, name)
    return transcript_of_text(text, name)


def _content(path: Path) -> bytes:
    if path.is_dir():
        raise InputError(f"{path} is a folder. Name the transcript inside it.")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"There is no file {path}.") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}).") from None


def _decoded(content: bytes, name: str) -> str:
    encoding = next((name for mark, name in _BOMS if content.startswith(mark)), None)
    if encoding is None and b"\0" in content[:4096]:
        raise InputError(f"{name} is not text. Sound is heard with: crownsole hear {name}")
    try:
        return content.decode(encoding or "utf-8")
    except UnicodeDecodeError:
        if encoding:
            raise InputError(f"{name} is not valid {encoding} text.") from None
        return content.decode("cp1252", errors="replace")


def prepare_ears(model: Path | None, options: Options, *, stock: bool = False, progress: Progress = silent) -> Ears:
    """The model to hear with, fetched when it is not there, with the vocabulary of the lexicon in it.

    ``stock`` uses the model as it came. Raises :class:`ModelError` and :class:`LexiconInvalid`.
    """
    from listener.model import find_model
    from parser.record import ModelInfo

    lexicon = lexicon_of(options)
    folder = find_model(model, progress=progress)
    if stock:
        return Ears(folder, None, ModelInfo(name=folder.name))
    from listener.vocabulary import compiled

    made = compiled(folder, lexicon, progress=progress)
    return Ears(made.folder, made.restore, ModelInfo(name=folder.name, vocabulary=made.name))


def hear(
    path: Path, ears: Ears, options: Options, *, progress: Progress = silent, isolate: bool = False,
    keep: bool = False, who: Whose | None = None,
) -> Record:
    """Hear a sound file and make its record; ``keep`` puts the run in the archive, as the run of ``who``.

    Raises :class:`SoundError`, :class:`ModelError`, :class:`HearingError`."""
    from listener.hear import hear_file

    transcript = hear_file(path, ears.folder, restore=ears.restore, progress=progress, isolate=isolate)
    return kept(transcript, options, path, ears.info, who=who) if keep else record_of(transcript, options, ears.info)


def whose_run(learner: str | None, attempt: int | None, keep: bool) -> Whose | None:
    """Whose run is kept. Raises :class:`UsageError` when nothing is kept, or a name or number cannot be."""
    if learner is None and attempt is None:
        return None
    if not keep:
        raise UsageError("A learner and an attempt are kept with a run: add --keep.")
    from listener.archive.whose import whose

    return whose(learner, attempt)


def kept(
    transcript: Transcript, options: Options, sound: Path | None = None, model: ModelInfo | None = None, *,
    who: Whose | None = None,
) -> Record:
    """The record of a transcript that is kept in the archive, with its sound. Raises :class:`StorageError`."""
    from listener.archive import open_archive
    from listener.archive.keeping import keep

    with open_archive() as archive:
        return keep(
            archive, transcript, lexicon_of(options), sound=sound, checklist=options.checklist, model=model,
            learner=who.learner if who else None, attempt=who.attempt if who else None,
        )


def options_of(
    packs: Sequence[Path],
    checklist: str,
    age: float | None = None,
    pressure_table: str = "aha_acc_2025",
    news2_scale: int = 1,
) -> Options:
    """Options as the commands take them. Raises :class:`UsageError` for a table or scale that does not exist."""
    if pressure_table not in PRESSURE_TABLES:
        raise UsageError(f"There is no pressure table '{pressure_table}'. Tables are: {', '.join(PRESSURE_TABLES)}.")
    if news2_scale not in (1, 2):
        raise UsageError("NEWS2 has saturation scales 1 and 2; scale 2 only where a clinician has chosen it.")
    settings = Settings(age, pressure_table, 2 if news2_scale == 2 else 1)
    return Options(tuple(str(pack) for pack in packs), checklist, settings)
