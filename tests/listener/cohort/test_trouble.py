"""What goes wrong around a cohort: the whole command killed, strange files, workers that are not equipped."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from listener.archive import open_archive
from listener.bars import Pace
from listener.cohort.files import find
from listener.cohort.jobs import Job, Setting, work
from listener.errors import HearingError, InputError, UsageError
from listener.runs import Options
from tests.listener.cohort.test_running import do, ordered
from tests.listener.cohort.work import texts


def waited(seconds: float, until: object) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if until():  # type: ignore[operator]
            return True
        time.sleep(0.05)
    return False


def members(session: int) -> list[int]:
    """The processes of a session that still run."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, _, own = place.read_text().rpartition(")")[2].split()[:4]
        except OSError:
            continue
        if int(own) == session and state != "Z":
            found.append(int(place.parent.name))
    return found


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_a_kill_of_the_whole_command_loses_nothing_that_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="the packages of a cohort are absent: pip install '.[test]'")
    texts(tmp_path / "in", *(f"anna/run{n:03}.txt" for n in range(1, 301)))
    done = tmp_path / "out" / "done"
    command = [sys.executable, "-m", "listener.cli", "cohort", "in", "-o", "out", "-w", "1", "--no-keep"]
    program = f"import sys; sys.argv = {command[2:]!r}; from listener.cli import main; main()"
    with subprocess.Popen([sys.executable, "-c", program], cwd=tmp_path, stderr=subprocess.DEVNULL,
                          stdout=subprocess.DEVNULL, start_new_session=True) as killed:
        try:
            begun = waited(240, lambda: len(list(done.glob("*.json"))) >= 3)
        finally:
            os.kill(killed.pid, signal.SIGKILL)
    assert begun, "no result came"
    assert waited(30, lambda: not members(killed.pid)), "workers outlive the command"
    there = {path.name for path in done.glob("[!.]*.json")}
    assert 3 <= len(there) < 300
    told, workers = do(monkeypatch, ordered(tmp_path, keep=False))
    assert told.earlier == len(there)
    assert len(workers.done) == 300 - len(there)
    assert len(told.filed) == told.count("done") == 300


def test_pipes_are_left_alone_and_broken_links_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(tmp_path / "in", "anna/run1.txt")
    os.mkfifo(tmp_path / "in" / "anna" / "run2.wav")
    (tmp_path / "in" / "anna" / "run3.wav").symlink_to(tmp_path / "gone.wav")
    monkeypatch.setattr("listener.cohort.running.prepare_ears", lambda *_, **__: EARS)
    told, _ = do(monkeypatch, ordered(tmp_path, keep=False))
    assert [(one.name, one.outcome.state) for one in told.filed] == [
        ("anna/run1.txt", "done"), ("anna/run3.wav", "failed")]
    assert told.remarks[0] == "1 other files were left alone."


class EARS:
    class info:
        name = vocabulary = "none"

    class folder:
        fingerprint = "none"


def test_a_name_that_is_no_text_is_written_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = os.fsencode(tmp_path) + b"/in/anna"
    os.makedirs(place)
    Path(os.fsdecode(place + b"/\xff1.txt")).write_text("Neck supple.")
    told, _ = do(monkeypatch, ordered(tmp_path, keep=False))
    assert [(one.name, one.outcome.state) for one in told.filed] == [("anna/\\xff1.txt", "done")]
    assert "\\xff1.txt" in (tmp_path / "out" / "runs.csv").read_text()


def test_a_pattern_that_fits_no_file_is_an_error_with_the_first_name(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"No file is named like .* The first one is a/b/run1\.txt"):
        find(texts(tmp_path, "a/b/run1.txt"), names="{learner}/{attempt}.*")


def test_the_pattern_of_the_help_fits(tmp_path: Path) -> None:
    (item,) = find(texts(tmp_path, "anna/2.txt"), names="{learner}/{attempt}.*").items
    assert (item.who.learner, item.who.attempt) == ("anna", 2)


@pytest.mark.parametrize(
    ("change", "code", "why"),
    [
        ({"path": "/nowhere/a.txt"}, HearingError, "does not see a.txt"),
        ({"lexicon": "another"}, HearingError, "not another"),
        ({"path": None}, InputError, "^a.txt is empty"),
    ],
)
def test_what_a_worker_lacks_is_told_and_not_held_against_the_file(
    tmp_path: Path, change: dict[str, str | None], code: type[InputError], why: str
) -> None:
    texts(tmp_path, "a.txt")
    job = Job("k", str(tmp_path / "a.txt"), "a.txt", "text", Setting(Options()))
    if change.get("path", "") is None:
        (tmp_path / "a.txt").write_bytes(b"")
        change = {}
    outcome = work(replace(job, **change))  # type: ignore[arg-type]
    assert (outcome.state, outcome.exit_code) == ("failed", code.exit_code)
    assert str(tmp_path) not in outcome.reason
    assert re.search(why, outcome.reason)


def test_runs_go_to_the_archive_that_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    texts(tmp_path / "in", "anna/run1.txt")
    place = tmp_path / "school.sqlite3"
    told, _ = do(monkeypatch, ordered(tmp_path, archive=str(place)))
    with open_archive(place) as archive:
        (info,) = archive.runs()
    assert told.filed[0].outcome.kept == info.id
    assert f",{info.id}," in (tmp_path / "out" / "runs.csv").read_text()


def test_the_time_left_is_told_from_the_pace_so_far() -> None:
    now = [0.0]
    pace = Pace(lambda: now[0])
    told = []
    for seconds, done, total in [(0, 0, 40), (60, 4, 40), (61, 5, None), (62, 0, 10), (72, 5, 10), (73, 10, 10),
                                 (80, 0, 100), (3680, 10, 100)]:
        now[0] = seconds
        told.append(pace.left(done, total))
    assert told == ["", "about 9 min left", "", "", "under a minute left", "", "", "about 9 h 00 min left"]
