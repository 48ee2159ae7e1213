"""A run as one file to hand on: a zip of its head, its events, its sound and its record, with a hash for each.

The hashes show damage and careless changes. They do not show who made the file: whoever computes all of them anew
can forge one, so a run from elsewhere is as trustworthy as whoever sent it.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from listener.archive.events import INPUTS, Event, Head, RunInfo, Segment, canonical, digest
from listener.archive.reading import chain_faults, sound_faults
from listener.archive.store import Archive
from listener.archive.whose import Whose, whose
from listener.errors import InputError, StorageError, UsageError
from parser.record import Record

SCHEMA = "crownsole-run/1"
_MOST_TEXT = 512 * 1024 * 1024
_MOST_SOUND = 256 * 1024
_ANOTHER = "it is no run that Crownsole wrote"
_KINDS = frozenset(
    [
        "sound",
        "utterance",
        "request",
        "resumption",
        "remark",
        "statement",
        "direction",
        "mark",
        "amendment",
        "confirmation",
        "ending",
        "filed",
        "marking",
    ]
)


def export(archive: Archive, run: str, record: Record, target: Path, *, force: bool = False) -> RunInfo:
    """Write a run to a file, which appears when it is complete. Raises :class:`StorageError`."""
    info = archive.run(run)
    if target.exists() and not force:
        raise StorageError(f"{target} exists already. Use --force to write over it.")
    aside = target.with_name(f".{target.name}.part")
    try:
        with zipfile.ZipFile(aside, "w", zipfile.ZIP_DEFLATED) as file:
            _write(file, archive, info, record)
        aside.replace(target)
    except OSError as error:
        raise StorageError(f"{target} cannot be written ({error.strerror or error}).") from None
    finally:
        aside.unlink(missing_ok=True)
    return info


def bring_in(archive: Archive, source: Path) -> RunInfo:
    """Take a run from a file, whole or not at all. Raises :class:`InputError` for a changed file, or another one."""
    with _opened(source) as file:
        stated = _json(_read(file, "run.json", _MOST_TEXT))
        head, sums = _checked_head(stated)
        lines, record = _read(file, "events.jsonl", _MOST_TEXT), _read(file, "record.json", _MOST_TEXT)
        _same(sums, "events.jsonl", lines)
        _same(sums, "record.json", record)
        sound = _checked_events(head, lines, stated, Record.model_validate(_json(record)))
        who = _checked_whose(stated)
        for _ in _segments(file, sound):
            """Every piece is checked before anything is taken."""
        if any(head.id == known.id for known in archive.runs()):
            raise StorageError(f"Run {head.id} is here already; nothing was taken from {source.name}.")
        archive.insert_run(head, _events(lines), _segments(file, sound), who)
    return archive.run(head.id)


def _write(file: zipfile.ZipFile, archive: Archive, info: RunInfo, record: Record) -> None:
    lines = "".join(
        canonical([e.number, e.kind, e.at, dict(e.body), e.hash]) + "\n" for e in archive.events(info.id)
    ).encode()
    filed = (json.dumps(record.model_dump(mode="json"), ensure_ascii=False, indent=1) + "\n").encode()
    count = 0
    for segment in archive.segments(info.id):
        file.writestr(zipfile.ZipInfo(_name(segment.number)), segment.data)  # FLAC is packed already
        count += 1
    sums = {"events.jsonl": digest(lines), "record.json": digest(filed)}
    head: dict[str, Any] = {"schema": SCHEMA, "head": json.loads(info.head.as_json()), "sound": count, "sha256": sums}
    head |= {"learner": info.learner, "attempt": info.attempt}
    file.writestr("record.json", filed)
    file.writestr("events.jsonl", lines)
    file.writestr("run.json", json.dumps(head, indent=1) + "\n")


def _name(number: int) -> str:
    return f"sound/{number:07d}.flac"


@contextmanager
def _opened(source: Path) -> Iterator[zipfile.ZipFile]:
    """The file, with what is wrong with it as one sentence."""

    def refused(why: str) -> InputError:
        return InputError(f"{source} was not taken: {why}. Nothing was changed.")

    try:
        with zipfile.ZipFile(source) as file:
            names = file.namelist()
            if len(set(names)) != len(names):
                raise ValueError("a part of it is there twice")
            yield file
    except FileNotFoundError:
        raise InputError(f"There is no file {source}.") from None
    except OSError as error:
        raise refused(f"it cannot be read ({error.strerror or error})") from None
    except (zipfile.BadZipFile, KeyError, RuntimeError, NotImplementedError, EOFError) as error:
        raise refused("it is damaged" if isinstance(error, zipfile.BadZipFile) else _ANOTHER) from None
    except (ValueError, TypeError, AttributeError, RecursionError, OverflowError) as error:
        raise refused(str(error) if type(error) is ValueError else _ANOTHER) from None
    except Exception as error:
        if type(error).__module__ == "zlib":
            raise refused("it is damaged") from None
        raise


def _read(file: zipfile.ZipFile, name: str, most: int) -> bytes:
    """A part of the file, no longer than it may be; what it states of its length is not believed."""
    with file.open(name) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise ValueError(f"{name} in it is too long")
    return data


def _json(data: bytes) -> Any:
    try:
        return json.loads(data)
    except ValueError:
        raise ValueError(_ANOTHER) from None


def _checked_head(stated: Any) -> tuple[Head, dict[str, str]]:
    if stated["schema"] != SCHEMA:
        raise ValueError(f"it is of kind '{str(stated['schema'])[:40]}', not {SCHEMA}")
    head = Head.from_json(canonical(stated["head"]))
    if not (head.id.isascii() and head.id.isalnum() and 6 <= len(head.id) <= 64):
        raise ValueError("its id is none of ours")
    return head, dict(stated["sha256"])


def _checked_whose(stated: Any) -> Whose:
    learner, attempt = stated.get("learner"), stated.get("attempt")
    if not (learner is None or isinstance(learner, str)) or not (attempt is None or type(attempt) is int):
        raise ValueError(_ANOTHER)
    try:
        return whose(learner, attempt)
    except UsageError as error:
        raise ValueError(str(error)) from None


def _same(sums: dict[str, str], name: str, data: bytes) -> None:
    if sums[name] != digest(data):
        raise ValueError(f"{name} in it was changed")


def _events(lines: bytes) -> Iterator[Event]:
    for line in lines.decode().splitlines():
        number, kind, at, body, seal = json.loads(line)
        if kind not in _KINDS or not isinstance(body, dict):
            raise ValueError(_ANOTHER)
        yield Event(int(number), kind, str(at), body, str(seal))


def _checked_events(head: Head, lines: bytes, stated: Any, record: Record) -> dict[int, Any]:
    """What the events tell of the sound, by segment."""
    from listener.replay import utterance_of

    sound: dict[int, Any] = {}
    for fault in chain_faults(head, _events(lines), sound):
        raise ValueError(fault)
    filed: Record | None = record
    for event in _events(lines):
        if event.kind == "utterance":
            utterance_of(event.body)
        elif event.kind == "filed":
            filed = Record.model_validate_json(event.body["record"])
        if event.kind in INPUTS:
            filed = record
    if filed != record:
        raise ValueError("record.json in it is not the record that was filed")
    if len(sound) != stated["sound"]:
        raise ValueError("sound is missing in it")
    return sound


def _segments(file: zipfile.ZipFile, sound: dict[int, Any]) -> Iterator[Segment]:
    end = 0
    if {name for name in file.namelist() if name.startswith("sound/")} != {_name(number) for number in sound}:
        raise ValueError("sound is missing in it, or there is more than its events tell")
    for number in range(1, len(sound) + 1):
        start, samples, sha256 = sound[number]
        data = _read(file, _name(number), _MOST_SOUND)
        for fault in sound_faults(number, data, samples, sha256):
            raise ValueError(fault)
        if start != end:
            raise ValueError(f"sound {number} is not where it belongs")
        end += samples
        yield Segment(number, start, samples, sha256, data)


__all__ = ["SCHEMA", "bring_in", "export"]
