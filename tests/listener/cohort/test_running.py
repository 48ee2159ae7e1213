"""A cohort of transcripts from folder to tables, broken off and gone on with; and one of sound."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from listener.archive import open_archive
from listener.cohort import crew, jobs
from listener.cohort.files import find
from listener.cohort.jobs import Job, Outcome, Setting, work
from listener.cohort.ledger import Ledger
from listener.cohort.running import Order, Told, run
from listener.cohort.tables import COLUMNS, SCHEMA
from listener.errors import UsageError
from listener.locking import take
from listener.runs import Options
from tests.listener import models
from tests.listener.cohort.work import texts
from tests.listener.pages.browsers import accessibility_faults, driver, launched, overflows, page_of

SAMPLES = Path(__file__).parents[3] / "samples"
OPTIONS = Options()


class Crew:
    """Stands for the workers: does the work here, counts it, and goes away after ``most`` files."""

    def __init__(self, most: int = 1000) -> None:
        self.done: list[str] = []
        self.most = most

    @contextmanager
    def crew(self, where: crew.Where) -> Iterator[Crew]:
        yield self

    def prepare(self, client: object, setting: Setting) -> None:
        """Nothing is to be prepared for text."""

    def outcomes(self, client: object, given: list[Job]) -> Iterator[Outcome]:
        for number, job in enumerate(given):
            if number == self.most:
                raise KeyboardInterrupt
            self.done.append(job.name)
            yield work(job)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CROWNSOLE_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    return tmp_path


def ordered(place: Path, **more: object) -> Order:
    return Order(place / "in", place / "out", find(place / "in"), Setting(OPTIONS), **more)  # type: ignore[arg-type]


def do(monkeypatch: pytest.MonkeyPatch, order: Order, workers: Crew | None = None) -> tuple[Told, Crew]:
    made = workers or Crew()
    for name in ("crew", "prepare", "outcomes"):
        monkeypatch.setattr(crew, name, getattr(made, name))
    return run(order), made


def test_every_file_is_a_row_and_a_bad_one_has_its_reason(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(place / "in", "anna/run1.txt", "anna/run2.txt", "=ben/<b>1.txt")
    (place / "in" / "anna" / "run3.txt").write_bytes(b"")
    told, _ = do(monkeypatch, ordered(place))
    assert [(one.name, one.outcome.state) for one in told.filed] == [
        ("=ben/<b>1.txt", "done"), ("anna/run1.txt", "done"), ("anna/run2.txt", "done"), ("anna/run3.txt", "failed")]
    assert told.exit_code == 3
    with open(place / "out" / "runs.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert (rows[0]["file"], rows[0]["learner"], rows[0]["state"]) == ("'=ben/<b>1.txt", "'=ben", "done")
    assert "is empty" in rows[3]["reason"]
    entries = pq.read_table(place / "out" / "entries.parquet").to_pylist()
    assert {entry["concept"] for entry in entries} >= {"hand_hygiene"}
    assert {(e["learner"], e["attempt"]) for e in entries} == {("anna", 1), ("anna", 2), ("=ben", 1)}
    page = (place / "out" / "overview.html").read_text()
    assert "&lt;b&gt;" in page
    assert "<b>" not in page
    for one in told.filed:
        assert not one.page or (place / "out" / one.page).is_file()
    with open_archive() as archive:
        runs = {(info.learner, info.attempt, info.head.source) for info in archive.runs()}
    assert runs == {("anna", 1, "anna/run1.txt"), ("anna", 2, "anna/run2.txt"), ("=ben", 1, "=ben/<b>1.txt")}


def test_what_is_done_is_not_done_again_and_stays_once_in_the_archive(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts(place / "in", *(f"anna/run{n}.txt" for n in range(1, 5)))
    with pytest.raises(KeyboardInterrupt):
        do(monkeypatch, ordered(place), Crew(most=2))
    told, workers = do(monkeypatch, ordered(place))
    assert workers.done == ["anna/run3.txt", "anna/run4.txt"]
    assert (told.earlier, told.count("done")) == (2, 4)
    (place / "in" / "anna" / "run1.txt").write_text("Neck supple.")
    told, workers = do(monkeypatch, ordered(place))
    assert workers.done == ["anna/run1.txt"]
    with open_archive() as archive:
        assert len(archive.runs()) == 5  # the changed file is a run of its own


def test_a_kill_between_archive_and_note_makes_no_second_run(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(place / "in", "anna/run1.txt")
    do(monkeypatch, ordered(place))
    ledger = Ledger(place / "out" / "done")
    (key,) = {path.name.split(".")[0] for path in ledger.folder.iterdir()}
    whole = ledger.whole(key)
    assert whole is not None
    ledger.put(Outcome.from_json({**whole.as_json(), "kept": None}))
    do(monkeypatch, ordered(place))
    with open_archive() as archive:
        assert len(archive.runs()) == 1


def test_damaged_results_are_made_anew(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(place / "in", "anna/run1.txt")
    do(monkeypatch, ordered(place, keep=False))
    for path in (place / "out" / "done").glob("*.json"):
        path.write_text("{")
    told, workers = do(monkeypatch, ordered(place, keep=False))
    assert workers.done == ["anna/run1.txt"]
    assert told.count("done") == 1


def test_two_cohorts_do_not_write_to_one_folder(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(place / "in", "anna/run1.txt")
    hold = take(place / "out" / ".lock")
    assert hold is not None
    with pytest.raises(UsageError, match="Another cohort"):
        do(monkeypatch, ordered(place))
    hold.free()


def test_an_error_of_the_program_tells_its_kind_and_no_words(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("patient said something")

    texts(tmp_path, "a.txt")
    monkeypatch.setattr(jobs, "record_of", fail)
    outcome = work(Job("k", str(tmp_path / "a.txt"), "a.txt", "text", Setting(OPTIONS)))
    assert (outcome.state, outcome.reason) == ("failed", "The program failed on this file (RuntimeError).")


def test_the_columns_of_the_tables_do_not_change() -> None:
    golden = Path(__file__).with_name("columns.json")
    assert json.loads(golden.read_text()) == {"schema": SCHEMA, **{t: dict(c) for t, c in COLUMNS.items()}}


@pytest.mark.model
@pytest.mark.filterwarnings("ignore")
def test_sound_is_heard_by_real_workers(place: Path) -> None:
    pytest.importorskip("distributed", reason="the packages of a cohort are absent: pip install '.[test]'")
    models.stock()
    (place / "in" / "anna").mkdir(parents=True)
    (place / "in" / "anna" / "run1.opus").write_bytes((SAMPLES / "hurried_run.opus").read_bytes())
    (place / "in" / "anna" / "run2.wav").write_bytes(b"RIFF no sound")
    told = run(ordered(place, where=crew.Where(workers=1)))
    assert [one.outcome.state for one in told.filed] == ["done", "failed"]
    (row,) = [r for r in pq.read_table(place / "out" / "runs.parquet").to_pylist() if r["state"] == "done"]
    assert row["duration_s"] > 60
    assert row["vocabulary"]
    with open_archive() as archive:
        (info,) = archive.runs()
        assert info.seconds == pytest.approx(row["duration_s"], abs=0.2)


def test_the_overview_in_a_browser(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(place / "in", *(f"learner {n:02}/run{k}.txt" for n in range(1, 6) for k in (1, 2)))
    do(monkeypatch, ordered(place, keep=False))
    address = (place / "out" / "overview.html").as_uri()
    with driver() as playwright, launched(playwright) as browser:
        for size, scheme in (("usual", "light"), ("narrow", "dark")):
            with page_of(browser, size, scheme, block=False) as watched:
                watched.page.goto(address)
                assert accessibility_faults(watched.page) == []
                assert not overflows(watched.page)
                assert watched.errors == []
                assert {a for a in watched.addresses if not a.startswith("file:")} == set()
        with page_of(browser, block=False) as watched:
            watched.page.goto(address)
            watched.page.get_by_role("link", name="learner 03").first.focus()
            watched.page.keyboard.press("Enter")
            watched.page.wait_for_url("**/runs/*.html")
            assert "Hand hygiene performed" in watched.page.inner_text("main")
