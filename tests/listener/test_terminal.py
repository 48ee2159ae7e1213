"""The terminal: live runs in a pipe and in a view, microphone, the commands for kept runs, keeping what was heard."""

from __future__ import annotations

import io
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from lexicon import load
from listener.archive import Archive, open_archive
from listener.archive.reading import faults, filed_record, sound_of
from listener.cli import app
from listener.errors import SoundError, UsageError
from listener.microphone import Microphone
from listener.session import Session
from listener.terminal import Lines, View, listen, shown
from listener.wording import clock
from tests.listener.archives import noise
from tests.listener.models import stock
from tests.listener.sounds import sixteen, speech_like, write_wav

LEXICON = load()
ROOT = Path(__file__).resolve().parents[2]
SAID = "blood pressure one twenty eight over eighty two\nno carotid bruits bilaterally\n"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "runs" / "archive.sqlite3"
    monkeypatch.setenv("CROWNSOLE_ARCHIVE", str(path))
    return path


def crownsole(*arguments: str, said: str | bytes = "", code: int = 0) -> str:
    done = CliRunner().invoke(app, list(arguments), input=said)
    error = done.exception
    found = getattr(error, "exit_code", done.exit_code) if error else done.exit_code
    assert found == code, (done.output, error)
    return done.stdout + (str(error) if error and code else "")


# ---------------------------------------------------------------------- in a pipe


def test_words_in_a_pipe_become_a_kept_run_and_plain_lines(place: Path) -> None:
    shown_ = crownsole(
        "live", "--terminal", "--words", "-", said=SAID + "recorder withdraw that\nrecorder what is left\n"
    )
    assert "\x1b" not in shown_
    lines = shown_.splitlines()
    assert lines[0].endswith('"blood pressure one twenty eight over eighty two"')
    assert "        Vital signs and body measures: blood pressure 128/82 mmHg" in lines
    assert "        Neck: bruit absent, carotid artery, both sides" in lines
    assert "        taken back: bruit absent, carotid artery, both sides" in lines
    assert any(line.startswith("        > Not begun: ") for line in lines)
    listed = crownsole("runs", "list")
    assert "finished" in listed
    assert "4 utterances" in listed
    record = json.loads(crownsole("runs", "show", "last", "--format", "json"))
    assert record["measures"]["blood_pressure"][0]["systolic"] == 128
    again = json.loads(crownsole("runs", "show", "last", "--format", "json", "--again"))
    assert again == record
    events = [json.loads(line) for line in crownsole("runs", "show", "last", "--events").splitlines()]
    assert [event["number"] for event in events] == list(range(1, len(events) + 1))


def test_going_on_with_the_last_run(place: Path) -> None:
    crownsole("live", "--terminal", "--words", "-", said=SAID)
    crownsole("live", "--terminal", "--words", "--run", "last", "-", said="heart rate seventy two\n")
    assert crownsole("runs", "list").count("\n") == 1
    record = json.loads(crownsole("runs", "show", "last", "--format", "json"))
    assert set(record["measures"]) == {"blood_pressure", "heart_rate"}


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (["live", "--words"], 2, "--terminal"),
        (["live", "--terminal", "run.wav"], 2, "crownsole hear"),
        (["live", "--terminal"], 2, "no terminal"),
        (["runs", "show", "nothing"], 3, "no run 'nothing'"),
        (["runs", "show", ""], 3, "no run"),
        (["runs", "import", "absent.zip"], 3, ""),
        (["live", "--terminal", "--words", "--run", "abc", "-"], 3, "no run"),
        (["runs", "list", "--archive", "mysql://x/y"], 6, "not in 'mysql'"),
    ],
)
def test_what_cannot_be_is_told(place: Path, arguments: list[str], code: int, message: str) -> None:
    assert message in crownsole(*arguments, code=code)


def test_removal_is_said_and_confirmed(place: Path) -> None:
    crownsole("live", "--terminal", "--words", "-", said=SAID)
    assert "Confirm with --yes" in crownsole("runs", "remove", "last", code=2)
    assert crownsole("runs", "list") != ""
    assert "was removed, its sound included" in crownsole("runs", "remove", "last", "--yes")
    assert crownsole("runs", "list") == ""


def test_a_run_is_handed_on_and_checked(place: Path, tmp_path: Path) -> None:
    crownsole("live", "--terminal", "--words", "-", said=SAID)
    target = tmp_path / "run.zip"
    crownsole("runs", "export", "last", "-o", str(target))
    crownsole("runs", "remove", "last", "--yes")
    assert "finished" in crownsole("runs", "import", str(target))
    assert "as it was written" in crownsole("runs", "check")
    assert crownsole("runs", "again", "last") == ""
    assert crownsole("runs", "again", "last", "--take") == ""
    assert "as it was written" in crownsole("runs", "check")


def test_a_transcript_is_kept_when_asked(place: Path, tmp_path: Path) -> None:
    path = tmp_path / "monday.txt"
    path.write_text(SAID + "recorder withdraw that\n")
    plain = json.loads(crownsole("read", str(path), "--format", "json"))
    assert not place.exists()
    kept = json.loads(crownsole("read", str(path), "--format", "json", "--keep"))
    assert {**kept, "run": plain["run"]} == plain
    assert "monday.txt" in crownsole("runs", "list")
    assert json.loads(crownsole("runs", "show", "last", "--format", "json")) == kept


@pytest.mark.model
def test_a_recording_is_kept_with_its_sound_when_asked(place: Path, tmp_path: Path) -> None:
    stock()
    path = write_wav(tmp_path / "monday.wav", speech_like(1.5))
    kept = json.loads(crownsole("hear", str(path), "--stock-vocabulary", "--format", "json", "--keep"))
    with open_archive(place) as archive:
        info = archive.run("last")
        assert (info.head.kind, info.head.source, info.status, info.seconds) == ("hear", "monday.wav", "finished", 1.5)
        assert kept["run"]["id"] == info.id
        assert np.array_equal(np.concatenate(list(sound_of(archive, info.id))), sixteen(speech_like(1.5)))
    assert json.loads(crownsole("runs", "show", "last", "--format", "json", "--again")) == kept


# ---------------------------------------------------------------------- a view


class Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("columns", ["100", "50"])
def test_the_view_shows_stations_words_and_entries(
    kept: Archive, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setenv("LINES", "40")
    monkeypatch.setenv("TERM", "xterm")
    screen = Screen()
    session = Session.begin(kept, LEXICON, "a test")
    with shown(session, screen):
        session.type(SAID)
        session.show("pedal ede")
        session.type("recorder pause")
    session.close()
    text = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", screen.getvalue())
    for part in ("128/82", "bruit absent", "pedal ede", "paused", "recording"):
        assert part in text
    assert ("◐ Neck" in text) is (columns == "100")


def test_a_view_that_fails_ends_no_run(kept: Archive) -> None:
    class Gone(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

    session = Session.begin(kept, LEXICON, "a test")
    session.watch(Lines(session, Gone()))
    session.type(SAID)
    session.close()
    assert kept.run("last").utterances == 2
    assert View is not Lines


# ---------------------------------------------------------------------- sound


def test_the_end_that_was_said_is_waited_for_and_then_taken(kept: Archive) -> None:
    session = Session.begin(kept, LEXICON, "a test")
    given = 0

    def blocks() -> Iterator[Any]:
        nonlocal given
        for number in range(300):
            if number == 20:
                session.type("recorder finish")
            given += 1
            yield noise(1600, number)

    listen(session, blocks())
    assert 80 <= given - 20 <= 90  # eight seconds and a bit, in which "recorder, undo" would have been heard
    assert kept.run("last").status == "finished"


def test_a_microphone_that_stops_leaves_a_run_to_go_on_with(kept: Archive) -> None:
    session = Session.begin(kept, LEXICON, "a test")

    def blocks() -> Iterator[Any]:
        yield noise(20_000)
        raise SoundError("The microphone stopped giving sound. Is it plugged in?")

    with pytest.raises(SoundError, match=f"recorded is kept.*--run {session.id}"):
        listen(session, blocks())
    info = kept.run("last")
    assert (info.status, info.seconds) == ("interrupted", 1.25)
    assert np.array_equal(np.concatenate(list(sound_of(kept, info.id))), noise(20_000))


class FakeStream:
    """Stands in for the library's stream: gives some blocks, then no more, as an unplugged device."""

    def __init__(
        self, *, callback: Any, samplerate: int, channels: int, dtype: str, blocksize: int, device: Any
    ) -> None:
        assert (samplerate, channels, dtype) == (16000, 1, "int16")
        if device == 99:
            raise ValueError("No input device matching 99")
        self.callback = callback

    def __enter__(self) -> FakeStream:
        for number in range(3):
            self.callback(np.full((1600, 1), number, np.int16), 1600, None, number == 2)
        return self

    def __exit__(self, *_: object) -> None: ...


def test_the_microphone_gives_blocks_and_tells_when_it_is_unplugged(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = types.ModuleType("sounddevice")
    fake.InputStream = FakeStream  # type: ignore[attr-defined]
    fake.PortAudioError = type("PortAudioError", (Exception,), {})  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setattr("listener.microphone._SILENT_FOR_S", 0.05)
    microphone = Microphone()
    blocks = microphone.blocks()
    assert [int(next(blocks)[0]) for _ in range(3)] == [0, 1, 2]
    assert microphone.lost == 1
    with pytest.raises(SoundError, match="Is it plugged in"):
        next(blocks)
    with pytest.raises(SoundError, match="--device"):
        next(Microphone("99").blocks())
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(SoundError, match=r"crownsole\[microphone\]"):
        next(Microphone().blocks())


# ---------------------------------------------------------------------- real processes


def _process(place: Path, *arguments: str, **more: Any) -> subprocess.Popen[bytes]:
    environment = {
        **os.environ,
        "CROWNSOLE_ARCHIVE": str(place),
        "PYTHONPATH": str(ROOT),
        "PYTHONUNBUFFERED": "1",
        "TERM": "xterm",
    }
    command = [sys.executable, "-c", "from listener.cli import main; main()", "live", "--terminal", *arguments]
    return subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, **more)


def test_killed_in_a_pipe_every_line_shown_is_kept(place: Path) -> None:
    child = _process(place, "--words", "-", stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert child.stdin is not None
    assert child.stdout is not None
    shown_: list[str] = []
    for line in (SAID * 3).splitlines():
        child.stdin.write(f"{line}\n".encode())
        child.stdin.flush()
        while line not in (last := child.stdout.readline().decode()):
            assert last
        shown_.append(line)
    child.kill()
    child.communicate()
    with open_archive(place) as archive:
        info = archive.run("last")
        assert info.status == "interrupted"
        kept = [e.body["text"] for e in archive.events(info.id) if e.kind == "utterance"]
        assert kept[: len(shown_)] == shown_
        assert list(faults(archive, info.id)) == []
    assert "interrupted" in crownsole("runs", "list")
    crownsole("live", "--terminal", "--words", "--run", "last", "-", said="heart rate seventy two\n")
    with open_archive(place) as archive:
        assert archive.run("last").status == "finished"


def test_a_terminal_shows_a_view(place: Path) -> None:
    control, terminal = pty.openpty()
    child = _process(place, "--words", "-", stdin=subprocess.PIPE, stdout=terminal)
    assert child.stdin is not None
    child.stdin.write(SAID.encode())
    child.stdin.close()
    child.stdin = None
    text, until = b"", time.monotonic() + 60
    while time.monotonic() < until and (child.poll() is None or select.select([control], [], [], 0.2)[0]):
        if select.select([control], [], [], 0.2)[0]:
            text += os.read(control, 65536)
    _, told = child.communicate()
    os.close(control)
    os.close(terminal)
    assert child.returncode == 0, told.decode()
    assert "128/82" in text.decode(errors="replace")
    assert "is kept" in told.decode()


@pytest.mark.model
def test_raw_sound_on_standard_input_and_an_end_by_hand(place: Path) -> None:
    """With the stock model: silence is kept as sound, and Ctrl-C ends the run in good order."""
    stock()
    child = _process(place, "--stock-vocabulary", "-", stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert child.stdin is not None
    child.stdin.write(bytes(2 * 16000 * 3))
    child.stdin.flush()
    for _ in range(600):
        if place.exists() and _seconds(place) >= 2.5:
            break
        time.sleep(0.1)
    child.send_signal(signal.SIGINT)
    _, told = child.communicate(timeout=60)
    assert child.returncode == 0, told.decode()
    with open_archive(place) as archive:
        info = archive.run("last")
        assert info.status == "finished"
        assert 2.5 <= info.seconds <= 3.0
        assert filed_record(archive, info.id) is not None


def _seconds(place: Path) -> float:
    with open_archive(place) as archive:
        runs = archive.runs()
        return runs[0].seconds if runs else 0.0


def test_help_comes_at_once_without_the_store() -> None:
    heavy = ("sqlalchemy", "alembic", "numpy", "rich.live", "spacy")
    code = f"import sys, listener.cli; sys.exit(any(m in sys.modules for m in {heavy}))"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


@pytest.mark.parametrize(
    ("seconds", "text"), [(None, ""), (0.0, "0:00"), (59.99, "0:59"), (61.2, "1:01"), (3600, "60:00")]
)
def test_clock(seconds: float | None, text: str) -> None:
    assert clock(seconds) == text
    assert UsageError.exit_code == 2
