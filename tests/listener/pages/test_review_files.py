"""The review pages: files out of a run and into the archive, the list of runs, removal, ending and reading anew."""

from __future__ import annotations

import json
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listener.archive import Archive, open_archive
from listener.pages import review_taking
from listener.pages.guard import Gate
from listener.pages.review_list import PAGE
from listener.pages.review_taking import safe_name
from listener.runs import Ears
from listener.sound import open_sound
from parser.note import FORMATS, write
from parser.note.document import Style
from parser.record import ModelInfo, Record
from tests.listener.archives import filled, noise
from tests.listener.models import stock
from tests.listener.pages.live import asked, ours
from tests.listener.pages.reviewed import (
    fetched,
    got,
    kept_run,
    line_of,
    other_words,
    reviewing,
    samples,
    sent,
    taken,
    transcript,
    view,
)
from tests.listener.sessions import LEXICON
from tests.listener.sounds import write_wav


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Gate, Record, Archive]]:
    """A run that is saved in every way, and never changed."""
    folder = tmp_path_factory.mktemp("reviewed")
    with open_archive(folder / "archive.sqlite3") as archive, reviewing(archive) as gate:
        yield gate, kept_run(archive, folder), archive


# ---------------------------------------------------------------------- files out


@pytest.mark.parametrize("name", [name for name in FORMATS if name != "fhir"])
def test_every_format_is_saved_as_the_commands_write_it(served: tuple[Gate, Record, Archive], name: str) -> None:
    gate, record, _ = served
    status, headers, data = fetched(gate, f"/runs/{record.run.id}/files/{name}?wording=handoff")
    assert status == 200
    assert headers["content-disposition"].startswith('attachment; filename="a rehearsal.')
    expected = write(record, LEXICON, name, Style("handoff"))
    if name in ("docx", "pdf"):
        assert data[:4] in (b"PK\x03\x04", b"%PDF")
    else:
        assert data == (expected.encode() if isinstance(expected, str) else expected)


def test_fhir_is_saved_with_the_moment_it_was_asked_for(served: tuple[Gate, Record, Archive]) -> None:
    gate, record, _ = served
    bundle = json.loads(got(gate, f"/runs/{record.run.id}/files/fhir")[2])
    assert (bundle["resourceType"], bundle["type"]) == ("Bundle", "document")


def test_formats_and_wordings_that_are_none(served: tuple[Gate, Record, Archive]) -> None:
    gate, record, _ = served
    for path in ("files/exe", "files/__init__", "note?wording=poem", "files/pdf?paper=a0"):
        assert got(gate, f"/runs/{record.run.id}/{path}")[0] == 404


@pytest.mark.parametrize(("wording", "part"), [("narrative", "Note"), ("exception", "Norms"), ("handoff", "Situation")])
def test_notes_in_every_wording(served: tuple[Gate, Record, Archive], wording: str, part: str) -> None:
    gate, record, _ = served
    status, _, text = got(gate, f"/runs/{record.run.id}/note?wording={wording}&trace=1")
    assert status == 200
    assert part in text
    assert f'href="/runs/{record.run.id}#e1"' in text


# ---------------------------------------------------------------------- files in


def test_a_transcript_and_a_saved_run_are_taken(kept: Archive, tmp_path: Path) -> None:
    with reviewing(kept) as gate:
        job = taken(gate, "../../etc/run one.txt", b"heart rate 72\nno murmurs\n")
        assert (job["state"], job["name"]) == ("done", "run one.txt")
        assert kept.run(job["run"]).head.source == "run one.txt"
        saved = fetched(gate, f"/runs/{job['run']}/run.zip")[2]
        assert taken(gate, "again.zip", saved)["said"].startswith(f"Run {job['run']} is here already")
        with open_archive(tmp_path / "other.sqlite3") as other, reviewing(other) as elsewhere:
            back = taken(elsewhere, "again.zip", saved)
            assert back["run"] == job["run"]
            assert view(elsewhere, back["run"])["stations"] == view(gate, job["run"])["stations"]


def test_a_recording_is_heard_and_kept_with_its_sound(
    kept: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[bool] = []

    def hear_file(path: Path, folder: Any, **how: Any) -> Any:
        steps.append(how["isolate"])
        how["progress"](f"hearing {path.name}", 1.0, 4.0)
        return transcript(path.name)

    monkeypatch.setattr(review_taking, "hear_file", hear_file)
    said = transcript()
    wav = write_wav(tmp_path / "monday.wav", samples(said.duration_s or 0)).read_bytes()
    with reviewing(kept, lambda progress: Ears(None, None, ModelInfo(name="a test"))) as gate:  # type: ignore[arg-type]
        job = taken(gate, "monday.wav", wav)
        assert (job["state"], steps) == ("done", [True])
        shown = view(gate, job["run"])
        assert shown["run"]["seconds"] == pytest.approx(said.duration_s, abs=0.01)
        assert line_of(shown, "bruit")["heard"] == "no carotid brew eats bilaterally"


@pytest.mark.model
def test_a_recording_is_heard_with_the_model(kept: Archive, tmp_path: Path) -> None:
    """The first seconds of a sample, in a child process, with the stock vocabulary."""
    model = stock()
    with open_sound(Path(__file__).parents[3] / "samples" / "hurried_run.opus") as sound:
        said = np.concatenate(list(sound.blocks()))[: 16 * 16000] / 32768
    wav = write_wav(tmp_path / "part.wav", said).read_bytes()
    with reviewing(kept, lambda progress: Ears(model, None, ModelInfo(name=model.name))) as gate:
        job = taken(gate, "part.wav", wav)
        assert job["state"] == "done", job
        assert "heart rate" in " ".join(said["text"] for said in view(gate, job["run"])["utterances"])


def zipped(**parts: bytes) -> bytes:
    import io

    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name.replace("__", "."), data)
    return made.getvalue()


BAD: list[tuple[str, bytes, str]] = [
    ("nothing.wav", b"", "is empty"),
    ("nothing.txt", b"   \n ", "is empty"),
    ("picture.png", b"\x89PNG\r\n\x1a\n" + b"\0" * 64, "There is no model"),
    ("other.zip", zipped(word__xml=b"<x/>"), "no run that Crownsole wrote"),
    ("forged.zip", zipped(run__json=b"{}"), "no run that Crownsole wrote"),
    ("broken.zip", b"PK\x03\x04" + b"\xff" * 400, "damaged"),
    ("bomb.zip", zipped(run__json=b"\0" * 50_000_000), "no run that Crownsole wrote"),
]


@pytest.mark.parametrize(("name", "data", "part"), BAD, ids=[row[0] for row in BAD])
def test_a_bad_file_is_told_and_leaves_nothing(
    kept: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, data: bytes, part: str
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with reviewing(kept) as gate:
        job = taken(gate, name, data)
        assert job["state"] == "failed"
        assert part in job["said"]
        assert str(tmp_path) not in job["said"]
        assert kept.runs() == ()
        until = time.monotonic() + 5
        while list(tmp_path.glob("crownsole-*")) and time.monotonic() < until:
            time.sleep(0.02)
        assert list(tmp_path.glob("crownsole-*")) == []


def test_a_file_beyond_the_limit_is_cut_off(kept: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with reviewing(kept, uploads={"/taking": 1000}) as gate:
        assert sent(gate, "/taking?name=a.txt", b"x" * 2000)[0] == 413
        headers = {**ours(gate), "Transfer-Encoding": "chunked"}
        body = b"".join(b"100\r\n" + b"x" * 256 + b"\r\n" for _ in range(8)) + b"0\r\n\r\n"
        assert asked(gate, "POST", "/taking?name=a.txt", headers, body)[0] == 413
        assert list(tmp_path.glob("crownsole-*")) == []
        assert taken(gate, "a.txt", b"heart rate 72")["state"] == "done"


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\me\\run.wav", "run.wav"),
        ("", "recording"),
        (".", "recording"),
        ("..", "recording"),
        (".bashrc", "bashrc"),
        ("a\0b\n.wav", "ab.wav"),
        ("\u202egnp.exe", "gnp.exe"),
        ("x" * 500 + ".opus", "x" * 115 + ".opus"),
        ("日" * 300 + ".wav", "日" * 66 + ".wav"),
        ("run.wav/", "recording"),
    ],
)
def test_names_of_files_are_nothing_but_names(name: str, expected: str) -> None:
    assert safe_name(name) == expected


# ---------------------------------------------------------------------- the list, and what ends a run


def test_the_list_shows_runs_in_pages_and_what_each_came_to(kept: Archive, tmp_path: Path) -> None:
    kept_run(kept, tmp_path)
    for number in range(PAGE):
        writer = kept.begin("live", f"run {number}", lexicon="v1")
        writer.close()
    with reviewing(kept) as gate:
        _, _, first = got(gate, "/runs")
        _, _, second = got(gate, "/runs?page=2")
        assert f"{PAGE + 1} runs" in first
        assert first.count('<li class="run"') == PAGE
        assert "a rehearsal.wav" not in first
        assert second.count('<li class="run"') == 1
        assert "stations documented" in second
        assert "interrupted" in first
        for odd in ("0", "99", "-1", "x", "9" * 50):
            assert got(gate, f"/runs?page={odd}")[0] == 200


def test_a_run_is_removed_when_that_is_confirmed(kept: Archive, tmp_path: Path) -> None:
    with reviewing(kept) as gate:
        run, other = kept_run(kept, tmp_path).run.id, kept_run(kept, tmp_path).run.id
        view(gate, run)
        for body in ({}, {"remove": other}, {"remove": True}):
            assert sent(gate, f"/runs/{run}/remove", body)[0] == 400
        status, answer = sent(gate, f"/runs/{run}/remove", {"remove": run})
        assert (status, "sound included" in answer["said"]) == (200, True)
        assert [info.id for info in kept.runs()] == [other]
        assert got(gate, f"/runs/{run}")[0] == 404
        assert got(gate, f"/runs/{run}/sound.wav")[0] == 404


def test_an_interrupted_run_is_shown_and_can_be_ended(kept: Archive) -> None:
    writer = filled(kept)
    run = writer.head.id
    with reviewing(kept) as gate:
        assert "under way" in got(gate, f"/runs/{run}")[2]
        status, answer = sent(gate, f"/runs/{run}/changes", {"do": "undo", "revision": view(gate, run)["revision"]})
        assert (status, "under way" in answer["error"]) == (422, True)
        writer.sound(noise(4000))
        writer.close()
        assert "interrupted" in got(gate, f"/runs/{run}")[2]
        assert sent(gate, f"/runs/{run}/end", {})[0] == 200
        assert view(gate, run)["run"]["status"] == "finished"


def test_a_reading_anew_is_shown_before_it_is_taken(kept: Archive, tmp_path: Path) -> None:
    pack = other_words(tmp_path)
    run = kept_run(kept, tmp_path).run.id
    with reviewing(kept, packs=(str(pack),)) as gate:
        shown = view(gate, run)
        assert shown["changed_lexicon"]
        assert line_of(shown, "murmur")
        difference = json.loads(got(gate, f"/runs/{run}/again")[2])
        assert "+ Heart: heart murmur absent" in difference["lines"]
        assert sent(gate, f"/runs/{run}/again", {"seal": "forged"})[0] == 409
        assert sent(gate, f"/runs/{run}/again", {"seal": difference["seal"]})[0] == 200
        assert line_of(view(gate, run), "heart murmur")
        assert not view(gate, run)["changed_lexicon"]
