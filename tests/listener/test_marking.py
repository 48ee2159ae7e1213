"""Points that a person gives a kept run: kept beside the tool's, append only; the commands; agreement over runs."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from listener.archive import Archive, open_archive
from listener.archive.events import MARKING
from listener.archive.exchange import bring_in, export
from listener.archive.keeping import keep
from listener.archive.reading import faults, filed_record
from listener.archive.summaries import summaries
from listener.cli import app
from listener.errors import CrownsoleError, InputError, StorageError, UsageError
from listener.marking.agreeing import Asked, agree
from listener.marking.desk import Stale, Wish, change, marked, runs_with_marks
from listener.reviewing import standing_record
from parser.transcript import transcript_of_text
from tests.listener.archives import filled
from tests.listener.sessions import LEXICON

SAID = "hand hygiene performed\nblood pressure 120/80 right arm sitting\nno murmurs\npedal pulses two plus on the left"
BY = "R. Sandrin"


def kept_run(archive: Archive, said: str = SAID, learner: str | None = None) -> str:
    return keep(archive, transcript_of_text(said, "a test"), LEXICON, learner=learner).run.id


def give(archive: Archive, run: str, step: str, points: float, reason: str = "seen on film") -> float:
    return change(archive, run, LEXICON, None, Wish(BY, step, points, reason)).marking.standing.points


def test_points_are_kept_and_nothing_else_changes(archive: Archive) -> None:
    run = kept_run(archive)
    before, record = marked(archive, run, LEXICON).marking, filed_record(archive, run)
    give(archive, run, "pedal_pulses", 2)
    give(archive, run, "pedal_pulses", 1.5, "half of the right side")
    after = marked(archive, run, LEXICON).marking
    assert after.total == before.total
    found = after.marks()["pedal_pulses"]
    assert found.given is not None
    assert (found.points, found.given.points, found.given.by) == (1, 1.5, BY)
    assert [(one.points, one.reason) for one in found.before] == [(2, "seen on film")]
    assert filed_record(archive, run) == record == standing_record(archive, run, LEXICON)
    assert archive.run(run).status == "finished"
    assert list(faults(archive, run)) == []
    (kept,) = summaries(archive)
    assert kept.body is not None


def test_the_archive_refuses_to_change_or_remove_what_was_given(archive: Archive) -> None:
    from sqlalchemy import text

    run = kept_run(archive)
    give(archive, run, "bed", 2)
    for statement in (
        f"UPDATE event SET body = '{{}}' WHERE kind = '{MARKING}'",
        f"DELETE FROM event WHERE kind = '{MARKING}'",
    ):
        with pytest.raises(StorageError, match="only grows"), archive.writing() as connection:
            connection.execute(text(statement))
    assert marked(archive, run, LEXICON).marking.marks()["bed"].given is not None


def test_points_go_with_the_run_to_another_archive(kept: Archive, tmp_path: Path) -> None:
    run = kept_run(kept)
    give(kept, run, "bed", 2)
    change(kept, run, LEXICON, None, Wish(BY))
    export(kept, run, standing_record(kept, run, LEXICON), tmp_path / "run.zip")
    with open_archive(tmp_path / "other.sqlite3") as other:
        bring_in(other, tmp_path / "run.zip")
        there = marked(other, run, LEXICON).marking
        assert there == marked(kept, run, LEXICON).marking
        assert there.settled is not None
        assert runs_with_marks(other) == (run,)


REFUSED: list[tuple[Wish, type[CrownsoleError], str]] = [
    (Wish(BY, "pupills", 1, "x"), UsageError, "marks no step 'pupills'. Did you mean 'pupils'?"),
    (Wish(BY, "pupils", 3, "x"), UsageError, "has 0 to 2 points; 3 cannot be given"),
    (Wish(BY, "pupils", -1, "x"), UsageError, "cannot be given"),
    (Wish(BY, "pupils", float("nan"), "x"), UsageError, "cannot be given"),
    (Wish(BY, "pupils", 1, " \n"), UsageError, "why the points are changed"),
    (Wish(BY, "pupils", 1, "x" * 501), UsageError, "too long"),
    (Wish(" ", "pupils", 1, "x"), UsageError, "who gives the points"),
    (Wish(BY, "pupils", 0, "x"), UsageError, "has 0 points already"),
    (Wish(BY, "pupils", 1, "x", last=1), Stale, "since this was shown"),
]


@pytest.mark.parametrize(("wish", "kind", "message"), REFUSED, ids=[case[2] for case in REFUSED])
def test_what_cannot_be_given_is_told_and_nothing_is_kept(
    kept: Archive, wish: Wish, kind: type[CrownsoleError], message: str
) -> None:
    run = kept_run(kept)
    events = kept.run(run).events
    with pytest.raises(kind, match=re.escape(message)):
        change(kept, run, LEXICON, None, wish)
    assert kept.run(run).events == events


def test_a_run_that_has_not_ended_takes_no_points(kept: Archive) -> None:
    with filled(kept) as writer, pytest.raises(UsageError, match="under way"):
        change(kept, writer.head.id, LEXICON, None, Wish(BY, "pupils", 1, "x"))
    with pytest.raises(UsageError, match="interrupted"):
        change(kept, writer.head.id, LEXICON, None, Wish(BY, "pupils", 1, "x"))


def test_points_that_cannot_be_read_are_told(kept: Archive) -> None:
    run = kept_run(kept)
    with kept.resume(run) as writer:
        writer.append((MARKING, {"do": "change", "step": "pupils"}))
    with pytest.raises(StorageError, match="holds points that cannot be read"):
        marked(kept, run, LEXICON)


# ---------------------------------------------------------------------- agreement


def test_agreement_over_runs_and_from_a_table(kept: Archive, tmp_path: Path) -> None:
    pytest.importorskip("sklearn", reason="needs the extra `marking`")
    one, other = kept_run(kept), kept_run(kept, "lungs clear\npupils equal and reactive")
    assert agree(kept, Asked()).pairs == 0
    give(kept, one, "bed", 2)
    change(kept, one, LEXICON, None, Wish(BY))
    found = agree(kept, Asked())
    assert (found.runs, found.table[0][2], found.apart) == (1, 1, 0)
    assert found.kappa is not None
    assert 0.8 < found.kappa < 1
    table = tmp_path / "mine.csv"
    table.write_text(f"run,step,points\n{other},pupils,2\n{other},bed,1\n{one},murmurs,1\n", encoding="utf-8")
    apart = agree(kept, Asked(table=table))
    assert (apart.pairs, apart.apart, apart.runs, apart.table[0][1]) == (3, 3, 2, 1)
    assert agree(kept, Asked(runs=(one,), table=table)).pairs == 1


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("run,step\nlast,bed", "line 1: a table of points needs the columns run, step and points; not there: points"),
        ("run,step,points\nlast,bed,two", "line 2: 'two' is no number of points"),
        ("run,step,points\nlast,bed,5", "line 2: 'bed low and locked' has 0 to 2 points"),
        ("run,step,points\nlast,bad,1", "line 2: the rubric 'complete' marks no step 'bad'"),
        ("run,step,points\nlast,bed,1\nlast,bed,2", "line 3: step 'bed' of run 'last' is on line 2 already"),
        ("run,step,points\nnone,bed,1", "There is no run 'none'"),
    ],
)
def test_a_bad_table_is_told_with_its_line(kept: Archive, tmp_path: Path, rows: str, message: str) -> None:
    kept_run(kept)
    table = tmp_path / "mine.csv"
    table.write_text(rows + "\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        agree(kept, Asked(table=table))
    assert message in str(caught.value)


# ---------------------------------------------------------------------- commands


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CROWNSOLE_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    (tmp_path / "run.txt").write_text(SAID, encoding="utf-8")
    return tmp_path


def said(*arguments: str, input: str | None = None) -> str:
    done = CliRunner().invoke(app, list(arguments), input=input)
    assert done.exit_code == 0, (done.output, done.exception)
    return done.stdout


def test_a_run_is_marked_changed_settled_and_compared(folder: Path) -> None:
    pytest.importorskip("sklearn", reason="needs the extra `marking`")
    said("read", str(folder / "run.txt"), "--keep")
    first = said("mark", "last")
    assert "Proposed: NOT YET" in first
    assert "“hand hygiene performed” (line 1)" in first
    assert "Marks are proposals; a person decides." in first
    assert "1 proposed, 2 given of 2" in said(
        "mark", "change", "last", "pedal_pulses", "2", "--reason", "both shown", "--by", BY
    )
    assert f"Settled by {BY}." in said("mark", "settle", "last", "--by", BY)
    assert "With the points given" in said("mark", "last")
    assert "Cohen's kappa: 0.89" in said("mark", "agreement")
    assert json.loads(said("mark", "agreement", "--format", "json"))["runs"] == 1
    rows = list(csv.DictReader(io.StringIO(said("mark", "last", "--format", "csv"))))
    assert [row["given"] for row in rows if row["step"] == "pedal_pulses"] == ["2"]


def test_files_and_piped_records_are_marked(folder: Path) -> None:
    text = said("mark", str(folder / "run.txt"), "--format", "json")
    record = said("read", str(folder / "run.txt"), "--format", "json")
    piped = said("mark", "-", "--format", "json", input=record)
    assert json.loads(text)["stations"] == json.loads(piped)["stations"]
    (folder / "both.jsonl").write_text(record + record, encoding="utf-8")
    assert len(said("mark", str(folder / "both.jsonl"), "--format", "json").splitlines()) == 2
    assert "Focused respiratory" in said("mark", str(folder / "run.txt"), "--rubric", "respiratory")


def test_rubrics_are_listed() -> None:
    assert "complete         Complete head-to-toe assessment: 81 steps" in said("mark", "rubrics")


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("mark", "gone.txt"), 3, "There is no file gone.txt."),
        (("mark", "last"), 3, "There is no run 'last'."),
        (("mark", "run.txt", "--rubric", "odd"), 3, "There is no rubric 'odd'. Rubrics are: complete"),
        (("mark", "run.txt", "--format", "pdf"), 2, "'pdf' is none of text, json, csv"),
        (("mark", "empty.txt"), 3, "is empty"),
        (("mark", "odd.json"), 3, "no record"),
        (("mark", "change", "last", "bed", "1", "--reason", "x"), 3, "There is no run 'last'."),
        (("mark", "change", "last", "bed", "1"), 2, "--reason"),
    ],
)
def test_what_is_wrong_is_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], code: int, message: str
) -> None:
    monkeypatch.chdir(folder)
    (folder / "empty.txt").write_text("")
    (folder / "odd.json").write_text('{"schema": null}')
    done = CliRunner().invoke(app, list(arguments))
    told = isinstance(done.exception, CrownsoleError)
    assert (done.exception.exit_code if told else done.exit_code) == code  # type: ignore[union-attr]
    assert message in (str(done.exception) if told else done.output).replace("\n", " ")
