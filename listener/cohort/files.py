"""Which files a cohort has, and whose they are: by their names, by a pattern, or by a table."""

from __future__ import annotations

import csv
import io
import os
import re
import stat
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from listener.archive.whose import NOBODY, Whose, whose
from listener.errors import InputError, UsageError

Kind = Literal["sound", "text"]

SOUNDS = frozenset(
    ["wav", "flac", "mp3", "m4a", "m4b", "aac", "ogg", "oga", "opus", "webm", "mp4", "mov", "mkv", "avi", "3gp", "amr",
     "aif", "aiff", "au", "caf", "wma", "wmv"]
)
TEXTS = frozenset(["txt"])

#: What a pattern may name, and what each stands for.
_PLACES = {"{learner}": r"(?P<learner>[^/]+?)", "{attempt}": r"(?P<attempt>\d{1,4})"}
_PARTS = re.compile(r"\{learner\}|\{attempt\}|\*\*/|\*|[^{}*]+|[{}]")
#: A number at the end of a file's name that stands alone or after letters: "run 2", "anna-03", "take2".
_ENDING = re.compile(r"^(?P<stem>.*?)(?P<gap>[ _.#-]*)(?P<number>\d{1,3})$")
_DATE = re.compile(r"\d{4}[-_.]\d\d[-_.]\d\d$")
_COLUMNS = ("file", "learner", "attempt")


@dataclass(frozen=True, slots=True)
class Item:
    """A file of the cohort. ``name`` is its path inside the folder, with slashes."""

    path: Path
    name: str
    kind: Kind
    who: Whose = NOBODY


@dataclass(frozen=True, slots=True)
class Found:
    """The files of a folder, by name, and what is to be said about them."""

    items: tuple[Item, ...]
    remarks: tuple[str, ...] = ()


def find(folder: Path, *, names: str | None = None, people: Path | None = None, leave: Path | None = None) -> Found:
    """The recordings and transcripts under a folder, and whose they are.

    ``names`` is a pattern of paths (see :func:`pattern_of`), ``people`` a CSV file with the columns file, learner and
    attempt; without either the names decide: the first folder is the learner, else the file's name without the number
    at its end, which is the attempt. ``leave``: a folder that is not looked into. Raises :class:`InputError`,
    :class:`UsageError`.
    """
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}." if not folder.exists() else f"{folder} is not a folder.")
    if names is not None and people is not None:
        raise UsageError("Whose the files are is told by --names or by --people, not by both.")
    items, others = [], 0
    for path in _walk(folder, leave):
        kind = _kind(path)
        if kind is None:
            others += 1
        else:
            items.append(Item(path, _printable(path.relative_to(folder)), kind))
    items.sort(key=lambda item: item.name)
    if not items:
        raise InputError(f"{folder} holds no recording and no transcript ({others} other files).")
    remarks = [f"{others} other files were left alone."] if others else []
    if people is not None:
        named, told = _by_table(items, people)
    elif names is not None:
        named, told = _by_pattern(items, names)
    else:
        named, told = _by_name(items), []
    return Found(tuple(named), (*remarks, *told, *_twice(named)))


def pattern_of(text: str) -> re.Pattern[str]:
    """A pattern of paths: {learner} and {attempt} stand for what they say, * for anything in a name, **/ for folders.

    It is held against the path inside the folder, with or without the ending of the file. Raises :class:`UsageError`.
    """
    if "{learner}" not in text:
        raise UsageError("A pattern of names has {learner} in it, such as: --names '{learner}/*{attempt}'")
    made, used = "", Counter[str]()
    for part in _PARTS.findall(text):
        used[part] += 1
        if part in ("{", "}") or (part in _PLACES and used[part] > 1):
            raise UsageError(f"The pattern '{text}' is not understood at '{part}'. It may have {{learner}} and "
                             "{attempt} once each, * and **/.")
        made += _PLACES.get(part) or {"**/": r"(?:.*/)?", "*": r"[^/]*?"}.get(part) or re.escape(part)
    return re.compile(made, re.IGNORECASE)


def _walk(folder: Path, leave: Path | None) -> Iterator[Path]:
    """Every file that is not hidden, in the order of names; folders of links are not followed."""
    def told(error: OSError) -> None:
        raise InputError(f"{error.filename} cannot be read ({error.strerror}).")

    left = leave.resolve() if leave is not None else None
    for place, folders, files in os.walk(folder, onerror=told):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and (Path(place) / f).resolve() != left)
        yield from (Path(place) / name for name in sorted(files) if not name.startswith("."))


def _printable(path: Path) -> str:
    """A path with slashes; bytes in it that are no UTF-8 are written out, so that every table can hold it."""
    return os.fsencode(path.as_posix()).decode("utf-8", "backslashreplace")


def _kind(path: Path) -> Kind | None:
    """None for other files, and for pipes and sockets, which would be waited for without end."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return None
    except OSError:
        """Why it cannot be read is told in its row."""
    ending = path.suffix.lower().lstrip(".")
    return "sound" if ending in SOUNDS else "text" if ending in TEXTS else None


def _by_pattern(items: Iterable[Item], text: str) -> tuple[list[Item], list[str]]:
    pattern = pattern_of(text)
    named, strangers = [], []
    for item in items:
        match = pattern.fullmatch(Path(item.name).with_suffix("").as_posix()) or pattern.fullmatch(item.name)
        if match is None:
            strangers.append(item.name)
            named.append(item)
        else:
            attempt = match.groupdict().get("attempt")
            named.append(replace(item, who=_checked(match["learner"], int(attempt) if attempt else None, item.name)))
    if len(strangers) == len(named):
        raise UsageError(f"No file is named like '{text}'. The first one is {strangers[0]}; a pattern is held against "
                         "all of that, with or without its ending.")
    told = [f"{_some(strangers)} not named like '{text}': nobody's runs."] if strangers else []
    return named, told


def _by_table(items: list[Item], path: Path) -> tuple[list[Item], list[str]]:
    table = _table(path)
    known = {item.name for item in items}
    absent = [name for name in table if name not in known]
    strangers = [item.name for item in items if item.name not in table]
    told = [f"{path.name} names {_some(absent)} not there."] if absent else []
    told += [f"{_some(strangers)} not in {path.name}: nobody's runs."] if strangers else []
    return [replace(item, who=table.get(item.name, NOBODY)) for item in items], told


def _table(path: Path) -> Mapping[str, Whose]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path} cannot be read: it must be a CSV file in UTF-8 ({error}).") from None
    rows = csv.DictReader(io.StringIO(text))
    if not set(_COLUMNS[:2]) <= set(rows.fieldnames or ()):
        raise InputError(f"{path}, line 1: the heading must name the columns {', '.join(_COLUMNS)}.")
    found: dict[str, Whose] = {}
    for row in rows:
        where = f"{path}, line {rows.line_num}"
        name = (row["file"] or "").strip().replace("\\", "/")
        attempt = (row.get("attempt") or "").strip()
        if attempt and not (attempt.isascii() and attempt.isdigit()):
            raise InputError(f"{where}: the attempt is a number, not '{attempt[:20]}'.")
        if name in found:
            raise InputError(f"{where}: {name} stands there twice.")
        learner = (row["learner"] or "").strip() or None
        found[name] = _checked(learner, int(attempt) if attempt else None, where)
    return found


def _by_name(items: list[Item]) -> list[Item]:
    """The first folder is the learner; in one folder for all, the file's name without the number at its end."""
    named = []
    for item in items:
        place, stem = Path(item.name), Path(item.name).stem
        ending = _ending(stem)
        folder = place.parts[0] if len(place.parts) > 1 else None
        learner = folder or (ending["stem"] if ending and ending["stem"] else stem)
        named.append(replace(item, who=_checked(learner, int(ending["number"]) if ending else None, item.name)))
    return _counted(named)


def _ending(stem: str) -> re.Match[str] | None:
    """The number at the end of a name; none in a date, in a longer number, and none for 0."""
    match = _ENDING.match(stem)
    if match is None or int(match["number"]) == 0 or _DATE.search(stem):
        return None
    return None if match["stem"][-1:].isdigit() and not match["gap"] else match


def _counted(items: list[Item]) -> list[Item]:
    """Where none of a learner's files has a number, they are counted in the order of their names."""
    by_learner: dict[str | None, list[Item]] = defaultdict(list)
    for item in items:
        by_learner[item.who.learner].append(item)
    attempts = {
        item.name: number
        for some in by_learner.values() if all(item.who.attempt is None for item in some)
        for number, item in enumerate(some, 1)
    }
    return [replace(item, who=replace(item.who, attempt=attempts.get(item.name, item.who.attempt))) for item in items]


def _twice(items: Iterable[Item]) -> Iterator[str]:
    """Attempts that several files claim; none is dropped."""
    claimed: dict[Whose, list[str]] = defaultdict(list)
    for item in items:
        if item.who.learner is not None and item.who.attempt is not None:
            claimed[item.who].append(item.name)
    for who, names in claimed.items():
        if len(names) > 1:
            yield f"Attempt {who.attempt} of {who.learner} is claimed by {len(names)} files: {', '.join(names[:4])}."


def _checked(learner: str | None, attempt: int | None, where: str) -> Whose:
    try:
        return whose(learner, attempt)
    except UsageError as error:
        raise InputError(f"{where}: {error}") from None


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
    return f"{shown} {'is' if len(names) == 1 else 'are'}"
