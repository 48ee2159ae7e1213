"""The archive only grows, in both databases; one writer a run; runs leave whole; a hand in the file shows."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from lexicon import load
from listener.archive import Archive, open_archive
from listener.archive.engine import whereabouts
from listener.archive.exchange import bring_in, export
from listener.archive.flac import LONGEST, encoded
from listener.archive.reading import faults, read_again, sound_of
from listener.archive.tables import Base
from listener.errors import InputError, StorageError
from tests.listener.archives import filled, noise


def raw(place: str) -> Callable[[str], None]:
    """Runs SQL on an archive with nothing of ours in between."""
    engine = create_engine(whereabouts(place))

    def run(statement: str) -> None:
        try:
            with engine.begin() as connection:
                connection.execute(text(statement))
        finally:
            engine.dispose()

    return run


# ---------------------------------------------------------------------- what was kept comes back


def test_events_and_sound_come_back_as_written(archive: Archive) -> None:
    with filled(archive) as writer:
        run = writer.head.id
    events = list(archive.events(run))
    assert [event.number for event in events] == [1, 2, 3, 4, 5, 6]
    assert [event.kind for event in events] == ["sound", "utterance"] * 3
    assert [event.body["number"] for event in archive.events(run, after=2) if event.kind == "utterance"] == [2, 3]
    assert np.array_equal(
        np.concatenate(list(sound_of(archive, run))), np.concatenate([noise(8000, n) for n in (1, 2, 3)])
    )
    assert archive.segment_at(run, 0) == 1
    assert archive.segment_at(run, 15_999) == 2
    assert archive.segment_at(run, 16_000) == archive.segment_at(run, 10**9) == 3
    assert list(faults(archive, run)) == []
    info = archive.run(run[:5])
    assert (info.status, info.events, info.utterances, info.seconds) == ("interrupted", 6, 3, 1.5)


@pytest.mark.parametrize(
    "body", [{"text": "déjà \u0000 \ud800 \"' 火"}, {"a": [1.5, None, True, {"b": -0.0}]}, {"text": "x" * 100_000}]
)
def test_any_text_survives(archive: Archive, body: dict[str, object]) -> None:
    with archive.begin("live", "naïve ‘source’", lexicon="v1") as writer:
        writer.append(("remark", body))
    (event,) = archive.events(writer.head.id)
    assert event.body == body
    assert list(faults(archive, writer.head.id)) == []


def test_a_transaction_is_all_or_nothing(archive: Archive) -> None:
    with filled(archive) as writer:
        with pytest.raises(ValueError, match="JSON"):
            writer.append(("utterance", {"number": 4}), ("remark", {"bad": float("nan")}))
        with pytest.raises(ValueError, match="a segment is"):
            writer.sound(noise(LONGEST + 1))
        writer.append(("utterance", {"number": 4}))
    assert [event.kind for event in archive.events(writer.head.id)][-2:] == ["utterance", "utterance"]
    assert list(faults(archive, writer.head.id)) == []


# ---------------------------------------------------------------------- only grows

REFUSED = {
    "change an event": "UPDATE event SET body = '{}' WHERE number = 2",
    "change a run": "UPDATE run SET head = '{}'",
    "change sound": "UPDATE audio_segment SET samples = 1",
    "remove an event": "DELETE FROM event WHERE number = 6",
    "remove all events": "DELETE FROM event",
    "remove sound": "DELETE FROM audio_segment",
    "remove a run without saying so": "DELETE FROM run",
    "leave a gap": "INSERT INTO event (run, number, kind, at, body, hash) "
    "SELECT run, 9, kind, at, body, hash FROM event WHERE number = 1",
    "write over an event": "INSERT INTO event (run, number, kind, at, body, hash) "
    "SELECT run, 2, kind, at, body, hash FROM event WHERE number = 1",
    "misplace sound": "INSERT INTO audio_segment (run, number, start, samples, sha256, data) "
    "SELECT run, 4, 5, samples, sha256, data FROM audio_segment WHERE number = 1",
    "more than a second": "INSERT INTO audio_segment (run, number, start, samples, sha256, data) "
    "SELECT run, 4, 24000, 16001, sha256, data FROM audio_segment WHERE number = 1",
    "remove a run that is not there": "INSERT INTO removal (run, id, at) VALUES (99, 'x', 'now')",
    "a run twice": "INSERT INTO run (id, head, hash) SELECT id, head, hash FROM run",
}
ONLY_SQLITE = {
    "replace an event": "REPLACE INTO event SELECT run, number, kind, at, '{}', hash FROM event WHERE number = 2",
    "replace a run": "REPLACE INTO run (key, id, head, hash) SELECT key, id, '{}', hash FROM run",
    "replace sound": "REPLACE INTO audio_segment SELECT run, number, start, 5, sha256, data FROM audio_segment",
}
ONLY_POSTGRESQL = {f"empty {name}": f"TRUNCATE {name} CASCADE" for name in ("run", "event", "audio_segment", "removal")}


@pytest.mark.parametrize("what", [*REFUSED, *ONLY_SQLITE, *ONLY_POSTGRESQL])
def test_the_database_refuses(what: str, place: str, archive: Archive) -> None:
    is_file = "://" not in place
    if what in (ONLY_POSTGRESQL if is_file else ONLY_SQLITE):
        pytest.skip("another dialect's statement")
    with filled(archive) as writer:
        before = list(archive.events(writer.head.id)), list(archive.segments(writer.head.id))
    with pytest.raises(
        DBAPIError, match=r"grows|whole run|without a gap|one_second|here already|run_id|duplicate|UNIQUE"
    ):
        raw(place)({**REFUSED, **ONLY_SQLITE, **ONLY_POSTGRESQL}[what])
    assert (list(archive.events(writer.head.id)), list(archive.segments(writer.head.id))) == before
    assert list(faults(archive, writer.head.id)) == []


def test_a_removal_that_was_said_cannot_be_unsaid(place: str, archive: Archive) -> None:
    filled(archive).close()
    archive.remove("last")
    for statement in ("DELETE FROM removal", "UPDATE removal SET id = 'y'"):
        with pytest.raises(DBAPIError, match="only grows"):
            raw(place)(statement)


def test_the_tables_are_those_of_the_models(archive: Archive) -> None:
    """The migrations make what the models say: alembic's own comparison finds nothing to do."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with archive._engine.connect() as connection:
        made = compare_metadata(MigrationContext.configure(connection), Base.metadata)
    assert [one for one in made if one[0] in ("add_table", "remove_table", "add_column", "remove_column")] == []


# ---------------------------------------------------------------------- removal


def test_a_run_leaves_whole_and_leaves_no_trace_of_what_was_said(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite3"
    with open_archive(path) as archive:
        with archive.begin("live", "first", lexicon="v1") as writer:
            writer.append(("utterance", {"text": "zebra quagga okapi"}))
            sound = encoded(noise(16000))
            writer.sound(noise(16000))
        with archive.begin("live", "second", lexicon="v1") as other:
            other.append(("utterance", {"text": "stays"}))
        assert b"zebra quagga" in path.read_bytes() + Path(f"{path}-wal").read_bytes()
        removed = archive.remove(writer.head.id)
        assert removed.id == writer.head.id
        assert [info.id for info in archive.runs()] == [other.head.id]
        left = b"".join(file.read_bytes() for file in tmp_path.rglob("*") if file.is_file())
        assert b"zebra quagga" not in left
        assert sound[200:260] not in left
        assert [event.body["text"] for event in archive.events(other.head.id)] == ["stays"]
        with pytest.raises(InputError, match="no run"):
            archive.run(writer.head.id)


def test_removal_in_both_databases_and_coming_back(archive: Archive, tmp_path: Path) -> None:
    with filled(archive) as writer:
        run = writer.head.id
    with filled(archive):
        other = archive.run("last").id
    record = read_again(archive, run, load())
    export(archive, run, record, tmp_path / "run.zip")
    archive.remove(run)
    assert [info.id for info in archive.runs()] == [other]
    bring_in(archive, tmp_path / "run.zip")
    assert list(faults(archive, run)) == []
    archive.remove(run)
    assert [info.id for info in archive.runs()] == [other]
    assert len(list(archive.segments(other))) == 3


def test_a_run_being_written_is_not_removed(archive: Archive) -> None:
    writer = filled(archive)
    with pytest.raises(StorageError, match="being written"):
        archive.remove(writer.head.id)
    writer.close()
    archive.remove(writer.head.id)


# ---------------------------------------------------------------------- one writer, and its death


def test_one_writer_and_many_readers(place: str, archive: Archive) -> None:
    writer = filled(archive)
    run = writer.head.id
    with open_archive(place) as other:
        assert other.run(run).status == "under way"
        with pytest.raises(StorageError, match="another program"):
            other.resume(run)
        assert len(list(other.events(run))) == 6
        writer.append(("utterance", {"number": 4}))
        assert len(list(other.events(run, after=6))) == 1
        writer.close()
        assert other.run(run).status == "interrupted"
        with other.resume(run) as second:
            assert second.append(("ending", {}))[0].number == 8
        with pytest.raises(StorageError, match="closed"):
            writer.append(("remark", {}))
        assert other.run(run).status == "finished"


def test_the_hold_goes_with_its_process(place: str, archive: Archive) -> None:
    code = (
        "import os, sys; from listener.archive import open_archive\n"
        "w = open_archive(sys.argv[1]).begin('live', 'x', lexicon='v'); w.append(('utterance', {'n': 1}))\n"
        "print(w.head.id, flush=True); os.kill(os.getpid(), 9)"
    )
    done = subprocess.run([sys.executable, "-c", code, place], capture_output=True, text=True, check=False)
    run = done.stdout.strip()
    assert done.returncode == -9
    for _ in range(50):  # a server notices a lost client a moment later
        if archive.run(run).status == "interrupted":
            break
    assert archive.run(run).status == "interrupted"
    with archive.resume(run) as writer:
        assert writer.events == 1
        assert writer.append(("ending", {}))[0].number == 2


# ---------------------------------------------------------------------- hashes


@pytest.mark.parametrize(
    "spoil",
    [
        "UPDATE event SET body = replace(body, 'word 2', 'word 7')",
        "UPDATE event SET at = '2001' WHERE number = 3",
        "DELETE FROM event WHERE number = 3",
        "DELETE FROM event WHERE number = 1",
        "DELETE FROM audio_segment WHERE number = 3",
        "UPDATE audio_segment SET data = substr(data, 1, 900) WHERE number = 2",
        "UPDATE audio_segment SET start = start + 1 WHERE number = 2",
        "UPDATE run SET head = replace(head, 'a test', 'no test')",
    ],
)
def test_a_hand_in_the_file_shows(spoil: str, kept: Archive, tmp_path: Path) -> None:
    with filled(kept) as writer:
        run = writer.head.id
    with sqlite3.connect(tmp_path / "archive.sqlite3") as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(spoil)
    connection.close()
    assert list(faults(kept, run))
