"""Agreement over many runs: of the points that were given in the archive, or in a table made apart from the tool."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from lexicon import Lexicon
from listener.archive import Archive
from listener.errors import InputError, UsageError
from listener.marking.desk import Marked, marked, runs_with_marks
from listener.packs_used import lexicon_for
from parser.marking.agreement import Agreement, MissingKappa, Pair, agreement, category, pairs_of
from parser.marking.changing import checked_points

_COLUMNS = ("run", "step", "points")


@dataclass(frozen=True, slots=True)
class Asked:
    """Which runs (none: all with points given), by which rubric, and a table of points given apart from the tool."""

    runs: tuple[str, ...] = ()
    rubric: str | None = None
    packs: tuple[str, ...] = ()
    table: Path | None = None


def agree(archive: Archive, asked: Asked) -> Agreement:
    """Raises :class:`InputError`, and :class:`UsageError` when the package for kappa is absent."""
    desk = _Runs(archive, asked)
    try:
        return agreement(list(desk.from_table(asked.table) if asked.table else desk.from_archive()))
    except MissingKappa as error:
        raise UsageError(str(error)) from None


class _Runs:
    """Marks of each run, made once."""

    def __init__(self, archive: Archive, asked: Asked) -> None:
        self.archive = archive
        self.asked = asked
        self._marked: dict[str, Marked] = {}

    def from_archive(self) -> Iterator[Pair]:
        for run in self.asked.runs or runs_with_marks(self.archive):
            yield from pairs_of(self._of(run).marking)

    def from_table(self, path: Path) -> Iterator[Pair]:
        wanted = {self.archive.run(run).id for run in self.asked.runs}
        for place, run, step, points in _rows(path):
            found = self._of(run)
            if wanted and found.info.id not in wanted:
                continue
            mark = found.marking.marks().get(step)
            if mark is None:
                raise InputError(f"{place}: the rubric '{found.rubric.id}' marks no step '{step[:60]}'.")
            try:
                person = category(checked_points(points, mark), mark.possible)
            except ValueError as error:
                raise InputError(f"{place}: {error}") from None
            if mark.possible:
                yield Pair(found.info.id, step, mark.label, category(mark.points, mark.possible), person, apart=True)

    def _of(self, run: str) -> Marked:
        if run not in self._marked:
            info = self.archive.run(run)
            lexicon: Lexicon = lexicon_for(info, self.asked.packs)
            self._marked[run] = marked(self.archive, info.id, lexicon, self.asked.rubric)
        return self._marked[run]


def _rows(path: Path) -> Iterator[tuple[str, str, str, float]]:
    """Place, run, step and points of every line of a CSV table. Raises :class:`InputError` with file and line."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path} cannot be read ({error}).") from None
    reader = csv.DictReader(io.StringIO(text), restval="")
    missing = [name for name in _COLUMNS if name not in (reader.fieldnames or ())]
    if missing:
        wanted = f"a table of points needs the columns {_and(_COLUMNS)}"
        raise InputError(f"{path}, line 1: {wanted}; not there: {_and(missing)}.")
    seen: dict[tuple[str, str], int] = {}
    for row in reader:
        place = f"{path}, line {reader.line_num}"
        run, step = row["run"].strip(), row["step"].strip()
        try:
            points = float(row["points"])
        except ValueError:
            raise InputError(f"{place}: '{row['points'][:20]}' is no number of points.") from None
        if (run, step) in seen:
            raise InputError(f"{place}: step '{step[:60]}' of run '{run[:20]}' is on line {seen[run, step]} already.")
        seen[run, step] = reader.line_num
        yield place, run, step, points


def _and(names: Sequence[str]) -> str:
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else names[0]
