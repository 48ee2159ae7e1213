"""Progress as text, CSV, JSON, page and portfolio; the command as a person types it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from listener.archive import open_archive
from listener.cli import app
from listener.errors import UsageError
from listener.pages.app import create_app
from listener.pages.guard import Gate
from listener.pages.progress import routes
from listener.pages.serving import running
from listener.progress.course import MEASURES, course
from listener.progress.gathering import Gathered
from listener.progress.table import COLUMNS, as_csv
from listener.progress.text import text
from tests.listener.learners import Attempt, attempts, insert
from tests.listener.pages.live import asked, ours
from tests.listener.progress.courses import NAMES, figures, points


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Two invented learners; one of them has a name that is markup, a formula and long."""
    path = tmp_path_factory.mktemp("kept") / "archive.sqlite3"
    with open_archive(path) as archive:
        for one in attempts(1, 7):
            insert(archive, one)
        insert(archive, Attempt("=1+1 <script>alert(1)</script> " + "y" * 60, 1, 0.5, seed=3))
    return str(path)


def run(*arguments: str, place: str, code: int = 0) -> str:
    done = CliRunner().invoke(app, ["progress", "--archive", place, *arguments])
    assert done.exit_code == code, done.output
    return done.stdout


# ---------------------------------------------------------------------- text


def test_text_is_calm_and_narrow(place: str) -> None:
    told = run("--learner", "L-01", place=place)
    assert told.startswith("PROGRESS over 7 runs of L-01, 1 Sep 2026 to 7 Sep 2026\n")
    assert max(map(len, told.splitlines())) <= 88
    for wanted in ("THE FIRST THREE RUNS AND THE LAST THREE", "STATIONS, CROWN TO SOLE", "LEFT OUT MOST",
                   "ORDER, TIMING", "not a medical device"):
        assert wanted in told
    assert "\x1b" not in told


def test_text_of_few_runs_shows_each(place: str) -> None:
    assert "EACH RUN, THE OLDEST FIRST" in run("--last", "2", "--learner", "L-01", place=place)


def test_a_station_has_a_sign_a_run() -> None:
    told = text(_gathered(figures(heart=("s one",)), figures(heart_wanted=False), figures()))
    (heart,) = [line for line in told.splitlines() if line.startswith("Heart")]
    assert heart.split("  ")[-1].strip() == "-" or "1 of 2" in heart
    assert ". x" in heart


def test_no_runs_say_what_to_do(tmp_path: Path, place: str) -> None:
    assert "crownsole hear --keep" in run(place=str(tmp_path / "empty.sqlite3"))
    assert "crownsole runs list" in run("--learner", "nobody", place=place)


@pytest.mark.parametrize(
    "wrong", [("--last", "0"), ("--since", "tomorrow"), ("--format", "xml"), ("--since", "2026-13-01")]
)
def test_what_cannot_be_asked_is_told(wrong: tuple[str, ...], place: str) -> None:
    done = CliRunner().invoke(app, ["progress", "--archive", place, *wrong])
    assert done.exit_code != 0


# ---------------------------------------------------------------------- tables


def test_csv_has_a_line_a_run_and_no_formula(place: str) -> None:
    rows = list(csv.reader(io.StringIO(run("--format", "csv", place=place))))
    assert len(rows) == 9
    assert {len(row) for row in rows} == {len(rows[0])}
    assert rows[0][: len(COLUMNS)] == list(COLUMNS)
    learners = [row[rows[0].index("learner")] for row in rows[1:]]
    assert sum(name.startswith("'=1+1") for name in learners) == 1
    assert not any(cell.startswith(("=", "+", "@")) for row in rows for cell in row)


def test_csv_tells_the_figures_that_were_computed() -> None:
    told = figures(neck=("thyroid",), faults=("order.a",))
    row = next(csv.DictReader(io.StringIO(as_csv(_gathered(told)))))
    assert row["neck"] == "partial"
    assert row["heart"] == "documented"
    assert (row["neck_s"], row["heart_s"]) == ("20", "")
    for measure in MEASURES:
        assert float(row[measure.id]) == pytest.approx(measure.of(told), rel=1e-3)


def test_json_holds_everything_and_is_plain(place: str) -> None:
    told = json.loads(run("--format", "json", place=place))
    assert told["schema"] == "crownsole-progress/1"
    assert len(told["runs"]) == 8
    assert [m["id"] for m in told["measures"]] == [m.id for m in MEASURES]
    assert all(len(m["values"]) == 8 for m in told["measures"])
    assert all(len(s["course"]) == 8 for s in told["stations"])


# ---------------------------------------------------------------------- page and portfolio


class Outside(HTMLParser):
    """Finds what a page would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            fetched = name in ("src", "srcset", "action", "data") or (name == "href" and tag != "use")
            if (fetched and not (value or "").startswith("#")) or name.startswith("on"):
                self.found.append(f"{tag} {name}={value}")
        if tag in ("script", "iframe", "object", "embed", "link", "base"):
            self.found.append(tag)


def test_a_portfolio_stands_alone(place: str, tmp_path: Path) -> None:
    run("--format", "html", "-o", str(tmp_path / "p.html"), place=place)
    written = (tmp_path / "p.html").read_text(encoding="utf-8")
    outside = Outside()
    outside.feed(written)
    assert outside.found == []
    assert "<script" not in written
    assert "&lt;script&gt;" in written
    assert "default-src 'none'" in written
    assert len(written) < 300_000
    assert "not a medical device" in written


@pytest.fixture(scope="module")
def gate(place: str) -> Iterator[Gate]:
    with open_archive(place) as archive, running(lambda gate: create_app(gate, routes(archive))) as served:
        yield served


def get(gate: Gate, path: str) -> tuple[int, dict[str, str], str]:
    return asked(gate, "GET", path, {**ours(gate), "Accept": "text/html"})


@pytest.mark.parametrize("address", ["/progress", "/progress/portfolio.html", "/progress/runs.csv"])
def test_the_pages_need_the_secret(address: str, gate: Gate) -> None:
    assert get(gate, address)[0] == 200
    assert asked(gate, "GET", address, {"Host": gate.hosts[0]})[0] == 403


def test_the_page_filters_and_its_downloads_too(gate: Gate) -> None:
    _, _, told = get(gate, "/progress?learner=L-01&last=3")
    assert "Progress of L-01" in told
    assert "3 runs, 5 Sep 2026 to 7 Sep 2026" in told
    assert "/progress/runs.csv?learner=L-01&amp;last=3" in told
    _, headers, saved = get(gate, "/progress/runs.csv?learner=L-01&last=3")
    assert len(saved.splitlines()) == 4
    assert headers["content-disposition"] == 'attachment; filename="crownsole-progress.csv"'
    assert "No kept run passes" in get(gate, "/progress?learner=nobody")[2]


def test_the_page_is_small_and_nothing_in_it_is_markup_of_a_name(gate: Gate) -> None:
    _, _, told = get(gate, "/progress")
    assert len(told) < 300_000
    assert "<script>alert" not in told
    assert "style=" not in told


@pytest.mark.parametrize(
    ("query", "status"),
    [("last=0", 400), ("last=x", 400), ("last=%C2%B2", 400), ("last=9999999", 400), ("since=soon", 400),
     ("since=", 200), ("last=&learner=&checklist=", 200), ("learner=%00", 400), ("other=1", 200)],
)
def test_what_cannot_be_asked_is_told_on_the_page(query: str, status: int, gate: Gate) -> None:
    assert get(gate, f"/progress?{query}")[0] == status


def _gathered(*runs: object) -> Gathered:
    return Gathered(course(points(*runs), tuple(NAMES)), NAMES, ())  # type: ignore[arg-type]


# ---------------------------------------------------------------------- whose run it is, on the command line


def test_a_kept_run_is_given_to_a_learner(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "archive.sqlite3"
    monkeypatch.setenv("CROWNSOLE_ARCHIVE", str(place))
    (tmp_path / "run.txt").write_text("Neck supple.\n", encoding="utf-8")
    runner = CliRunner()
    read = ["read", str(tmp_path / "run.txt")]
    assert runner.invoke(app, [*read, "--keep", "--learner", "L-07", "--attempt", "2"]).exit_code == 0
    with open_archive(place) as archive:
        assert [(info.learner, info.attempt) for info in archive.runs()] == [("L-07", 2)]
    refused = runner.invoke(app, [*read, "--learner", "L-07"])
    assert isinstance(refused.exception, UsageError)
    assert "add --keep" in str(refused.exception)
    told = runner.invoke(app, ["runs", "assign", "last", "--learner", "L-08"])
    assert told.stdout.rstrip().endswith("L-08")
    assert "of L-08" in run(place=str(place))
