"""An archive made by an earlier version is brought up to date when it is opened; nothing of it is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine, text

from listener.archive import open_archive
from listener.archive.engine import whereabouts
from listener.archive.events import Event, Head, canonical
from listener.archive.migrating import NEWEST
from listener.archive.reading import faults
from listener.archive.summaries import summaries
from listener.progress.gathering import gather
from listener.replay import utterance_body
from parser.transcript import utterances_of_text

_MIGRATIONS = Path(__file__).parents[2] / "listener" / "archive" / "migrations"
HEAD = Head("abcdef012345", "live", "from before", "2026-01-01T09:00:00.000000+00:00", "v1")


def made_by(place: str, version: str) -> None:
    """An archive as that version made it, with one run that broke off after an utterance."""
    engine = create_engine(whereabouts(place))
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    config.set_main_option("path_separator", "os")
    (utterance,) = utterances_of_text("neck supple")
    event = Event(1, "utterance", HEAD.made_at, utterance_body(utterance))
    with engine.connect() as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, version)
        connection.execute(
            text("INSERT INTO run (key, id, head, hash) VALUES (1, :id, :head, :hash)"),
            {"id": HEAD.id, "head": HEAD.as_json(), "hash": HEAD.hash},
        )
        connection.execute(
            text("INSERT INTO event (run, number, kind, at, body, hash) VALUES (1, 1, 'utterance', :at, :body, :hash)"),
            {"at": event.at, "body": canonical(dict(event.body)), "hash": event.chained(HEAD.hash)},
        )
    engine.dispose()


@pytest.mark.parametrize("version", ["first", "second", "third"])
def test_an_older_archive_is_brought_up_to_date_with_all_it_holds(version: str, place: str, tmp_path: Path) -> None:
    Path(tmp_path / "kept").mkdir(exist_ok=True)
    made_by(place, version)
    with open_archive(place) as archive:
        assert list(faults(archive, HEAD.id)) == []
        (info,) = archive.runs()
        assert (info.head, info.learner, info.utterances) == (HEAD, None, 1)
        archive.assign(HEAD.id, "L-1", 1)
        (point,) = gather(archive).course.points
        assert (point.learner, point.figures.words) == ("L-1", 2)
        assert [kept.body is not None for kept in summaries(archive)] == [True]
        archive.remove(HEAD.id)
        with archive.reading() as connection:
            for table in ("run", "event", "audio_segment", "assignment", "summary"):
                assert connection.execute(text(f"SELECT COUNT(*) FROM {table}")).scalar() == 0
            assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar() == NEWEST
