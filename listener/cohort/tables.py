"""The tables of a cohort: runs, entries and remarks, as Parquet and as CSV, with columns that do not change.

``crownsole-cohort/1``; times in seconds from the start of the recording, shares from 0 to 1.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

from listener.cohort.jobs import Filed
from listener.errors import StorageError
from listener.progress.figures import RunFigures
from parser.note.table import safe
from parser.record import Record

SCHEMA = "crownsole-cohort/1"
_FILE = {"file": "string", "learner": "string", "attempt": "int32"}
#: Table -> its columns and their types, as Arrow names them.
COLUMNS: Mapping[str, Mapping[str, str]] = {
    "runs": {
        **_FILE, "state": "string", "reason": "string", "page": "string", "run": "string", "duration_s": "float64",
        "words": "int32", "words_a_minute": "float64", "stations": "int32", "documented": "int32",
        "coverage": "float64", "not_heard": "int32", "entries": "int32", "to_confirm": "int32", "corrected": "int32",
        "urgent": "int32", "order": "int32", "timing": "int32", "sides": "int32", "contradiction": "int32",
        "implausible": "int32", "model": "string", "vocabulary": "string", "lexicon": "string", "work_s": "float64",
    },
    "entries": {
        **_FILE, "region": "string", "entry": "string", "concept": "string", "label": "string", "kind": "string",
        "status": "string", "site": "string", "side": "string", "value": "string", "number": "float64",
        "unit": "string", "qualifiers": "string", "text": "string", "start_s": "float64", "end_s": "float64",
        "confidence": "float64", "confirm": "string", "superseded_by": "string",
    },
    "remarks": {
        **_FILE, "rule": "string", "severity": "string", "region": "string", "message": "string", "say": "string",
        "source": "string", "start_s": "float64", "weight": "float64",
    },
}
_BATCH = 20_000

Row = dict[str, Any]


def schema_of(table: str) -> pa.Schema:
    """The Arrow schema of a table."""
    fields = [pa.field(name, pa.type_for_alias(kind)) for name, kind in COLUMNS[table].items()]
    return pa.schema(fields, metadata={"schema": SCHEMA})


def write_tables(folder: Path, filed: Iterable[Filed]) -> None:
    """Write all tables, each aside and then in place; one record is in memory at a time.

    Raises :class:`StorageError`.
    """
    try:
        with ExitStack() as stack:
            tables = {name: stack.enter_context(_Table(folder, name)) for name in COLUMNS}
            for one in filed:
                for name, row in rows_of(one):
                    tables[name].add(row)
    except OSError as error:
        raise StorageError(f"The tables in {folder} cannot be written ({error.strerror or error}).") from None


def rows_of(filed: Filed) -> Iterator[tuple[str, Row]]:
    """The rows of a file: one of runs, and those of its entries and remarks."""
    head = {"file": filed.name, "learner": filed.who.learner, "attempt": filed.who.attempt}
    outcome = filed.outcome
    run = {**head, "state": outcome.state, "reason": outcome.reason or None, "page": filed.page or None,
           "run": outcome.kept, "work_s": round(sum(outcome.spent.values()), 3)}
    if outcome.state != "done":
        yield "runs", run
        return
    record = Record.model_validate_json(outcome.record)
    yield "runs", run | _figures(RunFigures.from_json(outcome.figures)) | _origin(record)
    for region in record.regions:
        for entry in region.entries:
            value, evidence = entry.value, entry.evidence
            yield "entries", {
                **head, "region": region.region, "entry": entry.id, "concept": entry.concept, "label": entry.label,
                "kind": entry.kind, "status": entry.status, "site": entry.site, "side": entry.side,
                "value": value.text if value else None, "number": value.number if value else None,
                "unit": value.unit if value else None, "qualifiers": "; ".join(entry.qualifiers) or None,
                "text": evidence.text, "start_s": evidence.start, "end_s": evidence.end,
                "confidence": entry.confidence, "confirm": entry.confirm, "superseded_by": entry.superseded_by}
    for remark in record.remarks:
        start = next((e.start for e in remark.evidence if e.start is not None), None)
        yield "remarks", {**head, "rule": remark.rule, "severity": remark.severity, "region": remark.region,
                          "message": remark.message, "say": remark.say, "source": remark.source, "start_s": start,
                          "weight": remark.weight}


def _figures(figures: RunFigures) -> Row:
    faults = {name: figures.faults_of(name) for name in ("order", "timing", "sides", "contradiction", "implausible")}
    return {"duration_s": figures.seconds, "words": figures.words, "words_a_minute": figures.words_a_minute,
            "stations": len(figures.stations), "documented": figures.documented, "coverage": figures.coverage,
            "not_heard": figures.omissions, "entries": figures.entries, "to_confirm": figures.doubtful,
            "corrected": figures.corrected, "urgent": figures.urgent, **faults}


def _origin(record: Record) -> Row:
    model = record.run.model
    return {"model": model.name if model else None,
            "vocabulary": model.vocabulary if model else None, "lexicon": record.run.lexicon.version}


class _Table:
    """One table in its two forms, written aside; they take their places when all is written."""

    def __init__(self, folder: Path, name: str) -> None:
        self._places = {ending: folder / f"{name}.{ending}" for ending in ("parquet", "csv")}
        self._asides = {ending: folder / f".{name}.{ending}" for ending in self._places}
        self._columns = tuple(COLUMNS[name])
        self._schema = schema_of(name)
        self._held: list[Row] = []

    def __enter__(self) -> _Table:
        self._text: IO[str] = open(self._asides["csv"], "w", encoding="utf-8", newline="")
        self._csv = csv.writer(self._text)
        self._csv.writerow(self._columns)
        self._parquet = pq.ParquetWriter(self._asides["parquet"], self._schema)
        return self

    def add(self, row: Row) -> None:
        self._csv.writerow([_cell(row.get(column)) for column in self._columns])
        self._held.append(row)
        if len(self._held) >= _BATCH:
            self._flush()

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:
            self._flush()
        self._parquet.close()
        self._text.close()
        for ending, aside in self._asides.items():
            if kind is None:
                os.replace(aside, self._places[ending])
            else:
                aside.unlink(missing_ok=True)

    def _flush(self) -> None:
        if self._held:
            self._parquet.write_table(pa.Table.from_pylist(self._held, schema=self._schema))
            self._held = []


def _cell(value: Any) -> str:
    """A cell of CSV that no spreadsheet takes for a formula."""
    if value is None:
        return ""
    return f"{value:.6g}" if isinstance(value, float) else safe(str(value)) if isinstance(value, str) else str(value)
