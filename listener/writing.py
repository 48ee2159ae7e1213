"""Writes records as documents: one after another, bad ones told, nothing half written."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from listener.errors import CrownsoleError, InputError, UsageError
from listener.output import emit

if TYPE_CHECKING:
    from lexicon import Lexicon
    from parser.record import Record

_WANTED = "Give a record as written by: crownsole read --format json"
Source = tuple[str, Callable[[], "Record"]]


@dataclass(frozen=True)
class Writing:
    """How records are written: format, wording, whether to trace and to check, and where to."""

    format: str = "text"
    wording: str = "narrative"
    trace: bool = False
    check: bool = False
    template: Path | None = None
    paper: str = "a4"
    output: Path | None = None
    force: bool = False


def write_each(sources: Iterable[Source], lexicon: Lexicon, how: Writing) -> int:
    """Write the record of every source; returns the worst exit code. A bad one does not stop the others."""
    from parser.note import FORMATS, MissingLibrary, bundle, write
    from parser.note.document import PAPERS, WORDINGS, Style

    for name, known, option in ((how.format, FORMATS, "--format"), (how.wording, WORDINGS, "--note"),
                                (how.paper, PAPERS, "--paper")):
        if name not in known:
            raise typer.BadParameter(f"'{name}' is none of {', '.join(known)}", param_hint=option)
    moment = datetime.now(UTC).isoformat(timespec="seconds")
    style = Style(how.wording, how.trace, _template(how.template), moment, how.paper)
    sources, worst, pages = list(sources), 0, []
    for name, make in sources:
        try:
            record = make()
            page = write(record, lexicon, how.format, style)
            if how.check:
                worst = max(worst, _checked(record, lexicon, how.wording))
        except (CrownsoleError, MissingLibrary, ValueError) as error:
            typer.echo(f"crownsole: {error}", err=True)
            worst = max(worst, getattr(error, "exit_code", UsageError.exit_code))
            continue
        if how.output is None and FORMATS[how.format].text:
            if how.format == "text" and len(sources) > 1 and isinstance(page, str):
                page = "\n".join((f"== {name} ==", "", page, ""))
            emit(page, None)
        else:
            pages.append(page)
    if pages:
        try:
            emit(bundle(pages, how.format), how.output, force=how.force)
        except ValueError as error:
            raise UsageError(f"{error}.") from None
    return worst


def _template(path: Path | None) -> bytes | None:
    if path is None:
        return None
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"The template {path} cannot be read ({error.strerror}).") from None


def _checked(record: Record, lexicon: Lexicon, wording: str) -> int:
    """Read the note back and tell on standard error how much of it came back; 0 when all did, else 1."""
    from parser.note.document import paragraphs
    from parser.note.fidelity import compare

    result = compare(record, lexicon, paragraphs(record, lexicon, wording), wording)
    typer.echo(f"{result.kept} of {result.facts} facts of the record were read back from the note.", err=True)
    for difference in result.differences:
        typer.echo(f"  {difference}", err=True)
    return 1 if result.differences else 0


def sources_of(files: Iterable[Path], read: Callable[[], bytes]) -> Iterator[Source]:
    """The records of all files; ``read`` gives standard input for "-". A file that cannot be read fails in its turn."""
    for path in files:
        try:
            yield from records_in(path, read() if str(path) == "-" else None)
        except InputError as error:
            yield path.name, partial(_fail, error)


def _fail(error: InputError) -> Record:
    raise error


def records_in(path: Path, piped: bytes | None = None) -> Iterator[Source]:
    """The records of a file with one JSON document, or one a line. Raises :class:`InputError`."""
    name = "standard input" if piped is not None else path.name
    try:
        text = (path.read_bytes() if piped is None else piped).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{name} is not UTF-8 text. {_WANTED}") from None
    except OSError as error:
        raise InputError(f"{name} cannot be read ({error.strerror}).") from None
    documents = [text] if _whole(text) else [line for line in text.splitlines() if line.strip()]
    if not documents:
        raise InputError(f"{name} is empty. {_WANTED}")
    for number, document in enumerate(documents, 1):
        place = f"{name}, line {number}" if len(documents) > 1 else name
        yield place, lambda document=document, place=place: record_from(document, place)  # type: ignore[misc]


def _whole(text: str) -> bool:
    try:
        json.loads(text)
    except ValueError:
        return False
    return True


def record_from(text: str, place: str) -> Record:
    """A record from its JSON. Raises :class:`InputError` naming what is wrong and where."""
    from pydantic import ValidationError

    from parser.record import SCHEMA, Record

    try:
        data = json.loads(text)
    except ValueError as error:
        raise InputError(f"{place} is not JSON ({error}).") from None
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != SCHEMA:
        told = f"of the contract {schema}" if schema else "no record"
        raise InputError(f"{place} is {told}; this version reads {SCHEMA}.")
    try:
        return Record.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{place} does not fit {SCHEMA}: {where}: {first['msg']}.") from None
