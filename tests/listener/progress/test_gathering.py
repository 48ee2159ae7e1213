"""Figures out of the archive: kept when a record is filed, computed when absent or stale; whose run it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import select, text

from listener.archive import Archive, open_archive
from listener.archive.exchange import bring_in, export
from listener.archive.keeping import keep
from listener.archive.reading import filed_record
from listener.archive.summaries import add_summary, summaries
from listener.archive.tables import AssignmentRow, SummaryRow
from listener.archive.whose import learners
from listener.errors import InputError, UsageError
from listener.progress.figures import figures_of
from listener.progress.gathering import Filters, gather
from listener.session import Session
from parser.transcript import transcript_of_text
from tests.listener.learners import Attempt, attempts, insert
from tests.listener.sessions import LEXICON, SAID, started

FULL = "CREATE TRIGGER full BEFORE INSERT ON summary BEGIN SELECT RAISE(ABORT, 'disk is full'); END"


def rows(archive: Archive, table: type[SummaryRow] | type[AssignmentRow]) -> int:
    with archive.reading() as connection:
        return len(list(connection.execute(select(table.run))))


def bodies(archive: Archive) -> list[bool]:
    return [kept.body is not None for kept in summaries(archive)]


# ---------------------------------------------------------------------- whose run it is


def test_what_was_said_last_about_whose_run_it_is_stands(archive: Archive) -> None:
    with archive.begin("live", "a test", lexicon="v1", learner="  L-07 ", attempt=2) as writer:
        run = writer.head.id
    assert (archive.run(run).learner, archive.run(run).attempt) == ("L-07", 2)
    info = archive.assign(run, "L-08", 1, by="educator")
    assert (info.learner, info.attempt) == ("L-08", 1)
    assert archive.assign(run, None).learner is None
    assert rows(archive, AssignmentRow) == 3
    with archive.begin("live", "a test", lexicon="v1") as writer:
        assert archive.run(writer.head.id).learner is None


def test_runs_are_listed_by_learner(archive: Archive) -> None:
    for learner in ("L-1", "L-2", "L-1", None):
        with archive.begin("live", "a test", lexicon="v1", learner=learner):
            pass
    assert len(archive.runs()) == 4
    assert [info.learner for info in archive.runs("L-1")] == ["L-1", "L-1"]
    assert archive.runs("L-9") == ()
    assert learners(archive) == ("L-1", "L-2")
    archive.assign(archive.runs("L-2")[0].id, "L-3")
    assert learners(archive) == ("L-1", "L-3")


@pytest.mark.parametrize(
    ("learner", "attempt"), [("", 1), ("   ", 1), ("x" * 121, 1), ("a\u0000b", 1), ("a\u202eb", 1), ("L", 0), ("L", -1)]
)
def test_a_learner_or_attempt_that_is_none_is_refused(kept: Archive, learner: str, attempt: int) -> None:
    with pytest.raises(UsageError):
        kept.begin("live", "a test", lexicon="v1", learner=learner, attempt=attempt)
    assert kept.runs() == ()


def test_whose_run_it_is_goes_with_an_exported_run(archive: Archive, tmp_path: Path) -> None:
    run = insert(archive, Attempt("L-07", 3, 0.8))
    record = filed_record(archive, run)
    assert record is not None
    export(archive, run, record, tmp_path / "run.zip")
    archive.remove(run)
    assert (rows(archive, AssignmentRow), rows(archive, SummaryRow)) == (0, 0)
    info = bring_in(archive, tmp_path / "run.zip")
    assert (info.learner, info.attempt) == ("L-07", 3)
    assert [point.learner for point in gather(archive).course.points] == ["L-07"]


# ---------------------------------------------------------------------- figures are kept


def test_a_kept_transcript_and_an_ended_session_leave_their_figures(archive: Archive) -> None:
    record = keep(archive, transcript_of_text(SAID, "a test"), LEXICON, learner="L-1", attempt=1)
    started(archive, SAID).close()
    assert bodies(archive) == [True, True]
    course = gather(archive).course
    assert course.points[0].figures == figures_of(record)
    assert course.points[0].learner == "L-1"


def test_figures_are_stale_when_a_run_goes_on_and_new_when_it_ends_again(archive: Archive) -> None:
    session = started(archive, SAID)
    before = figures_of(session.close())
    session = Session.go_on(archive, session.id, LEXICON)
    assert bodies(archive) == [False]
    found = gather(archive)
    assert found.course.points == ()
    assert found.remarks == ("1 run is under way and not counted yet.",)
    session.type("abdomen soft and nontender")
    after = figures_of(session.close())
    assert gather(archive).course.points[0].figures == after
    assert after.entries > before.entries
    assert rows(archive, SummaryRow) == 2


def test_a_run_that_broke_off_is_read_from_its_words_once(archive: Archive) -> None:
    session = started(archive, SAID)
    session.abandon()
    assert bodies(archive) == [False]
    (point,) = gather(archive).course.points
    assert point.figures.entries > 1
    assert bodies(archive) == [True]
    assert gather(archive).course.points == (point,)


def test_figures_made_another_way_or_damaged_are_made_anew(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    run = insert(archive, Attempt("L-1", 1, 0.9))
    (point,) = gather(archive).course.points
    (one,) = summaries(archive)
    add_summary(archive, run, one.last, "v1", {"nonsense": True})
    assert gather(archive).course.points == (point,)
    monkeypatch.setattr("listener.archive.summaries.SCHEME", "crownsole-figures/2")
    assert bodies(archive) == [False]
    assert gather(archive).course.points == (point,)
    assert bodies(archive) == [True]
    assert rows(archive, SummaryRow) == 4


def test_all_figures_can_be_computed_again(archive: Archive) -> None:
    for one in attempts(1, 2):
        insert(archive, one)
    before = gather(archive)
    again = gather(archive, anew=True)
    assert again.course.points == before.course.points
    assert rows(archive, SummaryRow) == 4


def test_figures_of_an_archive_that_cannot_be_written_are_computed_each_time(tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite3"
    with open_archive(path) as archive:
        insert(archive, Attempt("L-1", 1, 0.9), summarised=False)
    with open_archive(path) as archive:
        with archive._engine.connect() as connection, connection.begin():
            connection.execute(text(FULL))
        assert len(gather(archive).course.points) == 1
        assert bodies(archive) == [False]


def test_ending_a_run_does_not_fail_for_figures_that_cannot_be_kept(kept: Archive) -> None:
    with kept._engine.connect() as connection, connection.begin():
        connection.execute(text(FULL))
    session = started(kept, SAID)
    record = session.close()
    assert filed_record(kept, session.id) == record


def test_the_database_keeps_assignments_and_figures_as_they_are(archive: Archive) -> None:
    insert(archive, Attempt("L-1", 1, 0.9))
    for statement in (
        "UPDATE assignment SET learner = 'x'", "DELETE FROM assignment", "UPDATE summary SET body = ''",
        "DELETE FROM summary", "INSERT INTO assignment (run, number, by, at) SELECT run, 7, by, at FROM assignment",
        "INSERT INTO assignment (run, number, attempt, by, at) SELECT run, 2, 0, by, at FROM assignment",
    ):
        with pytest.raises(Exception, match=r"only grows|whole run|without a gap|attempts_count|CHECK"), \
                archive._engine.connect() as connection, connection.begin():  # fmt: skip
            connection.execute(text(statement))


# ---------------------------------------------------------------------- filters


def test_filters(archive: Archive) -> None:
    for one in attempts(2, 3):
        insert(archive, one)
    insert(archive, Attempt(None, None, 0.9, seed=5))

    def told(filters: Filters) -> list[tuple[str | None, int | None]]:
        return [(point.learner, point.attempt) for point in gather(archive, filters).course.points]

    assert len(told(Filters())) == 7
    assert told(Filters(learner="L-02")) == [("L-02", 1), ("L-02", 2), ("L-02", 3)]
    assert told(Filters(learner="L-02", last=2)) == [("L-02", 2), ("L-02", 3)]
    assert told(Filters(since=date(2026, 9, 3))) == [("L-01", 3), ("L-02", 3)]
    assert told(Filters(checklist="cardiac")) == []
    assert told(Filters(learner="nobody")) == []
    seen = gather(archive, allowed=lambda learner: learner == "L-01").course
    assert seen.learners == ("L-01",)
    assert gather(archive, Filters(learner="L-02"), allowed=lambda learner: learner == "L-01").course.points == ()


def test_a_filter_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(UsageError, match="from 1 on"):
        Filters(last=0)


def test_a_run_without_a_word_is_told_and_not_counted(archive: Archive) -> None:
    started(archive).close()
    found = gather(archive)
    assert found.course.points == ()
    assert found.remarks == ("1 run is without a word and not counted.",)


def test_a_run_whose_lexicon_is_gone_is_told_and_the_others_are_counted(kept: Archive) -> None:
    insert(kept, Attempt("L-1", 1, 0.9))
    head = replace(kept.run("last").head, id="abcdef", packs=("no/such/folder",))
    kept.insert_run(head, [], [])
    found = gather(kept)
    assert len(found.course.points) == 1
    assert found.remarks == ("The figures of 1 run could not be computed: abcdef.",)


def test_no_such_run(kept: Archive) -> None:
    with pytest.raises(InputError):
        kept.assign("abcdef", "L-1")
