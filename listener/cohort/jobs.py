"""What a worker does with one file, and the plain values that travel to it and back."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self

from listener.archive.whose import Whose
from listener.cohort.files import Kind
from listener.errors import CrownsoleError, HearingError
from listener.runs import Ears, Options, lexicon_of, prepare_ears, read_text, record_of

if TYPE_CHECKING:
    from parser.record import Record
    from parser.transcript import Transcript

State = Literal["done", "failed", "lost"]


@dataclass(frozen=True, slots=True)
class Setting:
    """With what every file of a cohort is heard and read. ``model`` is a folder given by path, or None."""

    options: Options
    model: str | None = None
    stock: bool = False


@dataclass(frozen=True, slots=True)
class Job:
    """One file. ``key`` names its content and all it is heard with; ``apart``: in a process of its own.

    ``lexicon``: the version that a worker must have too ("": any).
    """

    key: str
    path: str
    name: str
    kind: Kind
    setting: Setting
    apart: bool = False
    lexicon: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a file: its record and what stands behind it, or a reason in one sentence.

    ``record`` is JSON (``crownsole-record/1``), ``page`` a page of HTML, ``figures`` as of
    :class:`listener.progress.figures.RunFigures`; ``words`` what was heard, an inner list an utterance (None for
    text); ``spent`` seconds by step; ``kept`` the id of the run in the archive. A "lost" file was not at fault itself.
    """

    key: str
    name: str
    state: State
    reason: str = ""
    exit_code: int = 0
    record: str = ""
    page: str = ""
    figures: dict[str, Any] = field(default_factory=dict)
    words: list[list[list[Any]]] | None = None
    remarks: list[str] = field(default_factory=list)
    duration_s: float | None = None
    spent: dict[str, float] = field(default_factory=dict)
    kept: str | None = None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, body: dict[str, Any]) -> Self:
        """Raises :class:`ValueError` for anything else."""
        try:
            made = cls(**body)
        except TypeError as error:
            raise ValueError("this is no outcome") from error
        if made.state not in ("done", "failed", "lost") or (made.state == "done" and not made.record):
            raise ValueError("this is no outcome")
        return made


@dataclass(frozen=True, slots=True)
class Filed:
    """A file of the cohort with its outcome and the page that tells it ("" when there is none)."""

    name: str
    who: Whose
    outcome: Outcome
    page: str = ""


class Bench:
    """What a process works with: the ears are made once and kept."""

    def __init__(self) -> None:
        self._ears: dict[Setting, Ears] = {}

    def ears(self, setting: Setting) -> Ears:
        if setting not in self._ears:
            model = Path(setting.model) if setting.model else None
            self._ears[setting] = prepare_ears(model, setting.options, stock=setting.stock)
        return self._ears[setting]


BENCH = Bench()


def work(job: Job) -> Outcome:
    """Hear or read one file. Never raises for what is wrong with the file: that is an outcome."""
    spent: dict[str, float] = {}
    try:
        return _done(job, spent)
    except CrownsoleError as error:
        reason = str(error).replace(job.path, job.name)
        return Outcome(job.key, job.name, "failed", reason, error.exit_code, spent=spent)
    except Exception as error:  # what was said may be in the message: only its kind is told
        reason = f"The program failed on this file ({type(error).__name__})."
        return Outcome(job.key, job.name, "failed", reason, CrownsoleError.exit_code, spent=spent)


def lost(job: Job) -> Outcome:
    """A file whose worker went away, several times."""
    reason = "The processes that worked on this file went away, several times. Run the cohort again to try it anew."
    return Outcome(job.key, job.name, "lost", reason, HearingError.exit_code)


def _done(job: Job, spent: dict[str, float]) -> Outcome:
    from listener.hear import hear_file

    path = Path(job.path)
    _equipped(job, path)
    began = time.perf_counter()
    if job.kind == "sound":
        ears = BENCH.ears(job.setting)
        spent["model"] = _lap(began)
        began = time.perf_counter()
        transcript, info = hear_file(path, ears.folder, restore=ears.restore, isolate=job.apart), ears.info
    else:
        transcript, info = read_text(path), None
    transcript = replace(transcript, source=job.name)
    spent["words"] = _lap(began)
    began = time.perf_counter()
    record = record_of(transcript, job.setting.options, info)
    spent["record"] = _lap(began)
    began = time.perf_counter()
    page, figures = _told(record, job.setting.options)
    spent["page"] = _lap(began)
    return Outcome(
        job.key, job.name, "done", record=record.model_dump_json(), page=page, figures=figures,
        words=heard_words(transcript) if job.kind == "sound" else None, remarks=list(transcript.remarks),
        duration_s=transcript.duration_s, spent=spent)


def _equipped(job: Job, path: Path) -> None:
    """A worker that sees other files or reads otherwise than who asks is no fault of the file: it is tried again."""
    if not path.exists():
        raise HearingError(f"The worker does not see {job.name}. Every machine needs the folder under the same path.")
    version = lexicon_of(job.setting.options).version
    if job.lexicon not in ("", version):
        raise HearingError(f"The worker has lexicon {version}, not {job.lexicon}. Install the same version everywhere.")


def _told(record: Record, options: Options) -> tuple[str, dict[str, Any]]:
    from listener.progress.figures import figures_of
    from parser.note import write
    from parser.note.document import Style

    page = write(record, lexicon_of(options), "html", Style(trace=True))
    assert isinstance(page, str)
    return page, figures_of(record).as_json()


def heard_words(transcript: Transcript) -> list[list[list[Any]]]:
    """The words of a transcript as plain JSON."""
    return [
        [[w.text, w.heard, w.start, w.end, w.confidence, w.doubt] for w in utterance.words]
        for utterance in transcript.utterances
    ]


def transcript_of(outcome: Outcome) -> Transcript:
    """The transcript behind the outcome of a sound file."""
    from parser.transcript import Word, transcript_of_words

    runs: Iterable[list[Word]] = ([Word(*word) for word in utterance] for utterance in outcome.words or ())
    made = transcript_of_words(runs, outcome.name, outcome.duration_s)
    return replace(made, remarks=tuple(outcome.remarks))


def _lap(began: float) -> float:
    return round(time.perf_counter() - began, 4)
