"""The review pages as they are asked over loopback: changes, sound by ranges, files in and out, and attacks."""

from __future__ import annotations

import http.client
import json
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listener.archive import Archive, open_archive
from listener.archive.reading import faults
from listener.pages import review_taking
from listener.pages.guard import Gate
from listener.pages.review_list import PAGE
from listener.pages.review_taking import safe_name
from listener.runs import Ears
from parser.note import FORMATS, write
from parser.note.document import Style
from parser.record import ModelInfo, Record
from tests.listener.archives import filled, noise
from tests.listener.pages.live import asked, ours
from tests.listener.pages.reviewed import got, kept_run, line_of, reviewing, samples, sent, transcript, view
from tests.listener.sessions import LEXICON
from tests.listener.sounds import write_wav

SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Gate, Record, Archive]]:
    """A run that is looked at and attacked, and never changed."""
    folder = tmp_path_factory.mktemp("reviewed")
    with open_archive(folder / "archive.sqlite3") as archive, reviewing(archive) as gate:
        yield gate, kept_run(archive, folder), archive


# ---------------------------------------------------------------------- what is shown


def test_the_view_holds_lines_words_remarks_and_their_state(served: tuple[Gate, Record, Archive]) -> None:
    gate, record, _ = served
    shown = view(gate, record.run.id)
    line = line_of(shown, "murmur")
    assert line["confirm"] == "'no' was not heard clearly"
    assert line["others"] == [{"text": "present", "changes": {"status": "present"}}]
    assert [other["text"] for other in line_of(shown, "heart rate")["others"]] == ["50"]
    assert shown["waiting"] == 2
    assert shown["undoable"] == 0
    assert not shown["changed_lexicon"]
    assert len(shown["remarks"]) == len(record.remarks)


def test_choices_come_from_the_lexicon(served: tuple[Gate, Record, Archive]) -> None:
    gate, record, _ = served
    entry = line_of(view(gate, record.run.id), "pulse")["entry"]
    choices = json.loads(got(gate, f"/runs/{record.run.id}/choices/{entry}")[2])
    assert ["2+", "normal, expected, brisk"] in choices["grades"]
    assert got(gate, f"/runs/{record.run.id}/choices/e999")[0] == 404


# ---------------------------------------------------------------------- sound

LENGTH = round((transcript().duration_s or 0) * 16000)
SOURCE = np.rint(samples(LENGTH / 16000) * 32767)
RANGES = [
    (None, 200, 0, 44 + 2 * LENGTH),
    ("bytes=0-", 206, 0, 44 + 2 * LENGTH),
    ("bytes=0-43", 206, 0, 44),
    ("bytes=40-99", 206, 40, 100),
    ("bytes=45-46", 206, 45, 47),
    ("bytes=100001-131072", 206, 100001, 131073),
    ("bytes=-10", 206, 44 + 2 * LENGTH - 10, 44 + 2 * LENGTH),
    ("bytes=5000-99999999999", 206, 5000, 44 + 2 * LENGTH),
    ("bytes=99999999999-", 416, 0, 0),
    ("bytes=-0", 416, 0, 0),
    ("bytes=9-3", 416, 0, 0),
    ("bytes=0-1,5-6", 200, 0, 44 + 2 * LENGTH),
    ("lines=0-1", 200, 0, 44 + 2 * LENGTH),
    (f"bytes={'9' * 5000}-", 200, 0, 44 + 2 * LENGTH),
]


def fetched(gate: Gate, path: str, asked_range: str | None = None) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", gate.port, timeout=10)
    try:
        connection.request("GET", path, headers={**ours(gate), **({"Range": asked_range} if asked_range else {})})
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
    finally:
        connection.close()


@pytest.mark.parametrize(("asked_range", "status", "first", "end"), RANGES, ids=[str(r[0])[:30] for r in RANGES])
def test_any_range_of_the_sound_is_served(
    served: tuple[Gate, Record, Archive], asked_range: str | None, status: int, first: int, end: int
) -> None:
    """Ranges as RFC 9110 section 14 defines them; several at once may be answered with the whole."""
    gate, record, _ = served
    whole = fetched(gate, f"/runs/{record.run.id}/sound.wav")[2]
    got_status, headers, data = fetched(gate, f"/runs/{record.run.id}/sound.wav", asked_range)
    assert got_status == status
    assert data == whole[first:end]
    if status == 206:
        assert headers["content-range"] == f"bytes {first}-{end - 1}/{len(whole)}"


def test_the_sound_of_a_line_is_exactly_its_samples(served: tuple[Gate, Record, Archive], tmp_path: Path) -> None:
    import wave

    gate, record, _ = served
    moment = line_of(view(gate, record.run.id), "bruit")["moment"]
    _, _, data = fetched(gate, f"/runs/{record.run.id}/sound.wav?from={moment['start']}&to={moment['end']}")
    (tmp_path / "clip.wav").write_bytes(data)
    with wave.open(str(tmp_path / "clip.wav")) as clip:
        assert (clip.getframerate(), clip.getnchannels(), clip.getsampwidth()) == (16000, 1, 2)
        heard = np.frombuffer(clip.readframes(clip.getnframes()), dtype="<i2")
    first, last = round(moment["start"] * 16000), round(moment["end"] * 16000)
    assert len(heard) == last - first
    assert np.abs(heard - SOURCE[first:last]).max() <= 2  # rounding of the file that was kept


@pytest.mark.parametrize("times", ["from=5&to=3", "from=-1", "from=nan", "from=inf", "from=x", "from=99999", "to=-2"])
def test_times_that_are_none_have_no_sound(served: tuple[Gate, Record, Archive], times: str) -> None:
    gate, record, _ = served
    assert got(gate, f"/runs/{record.run.id}/sound.wav?{times}")[0] == 404


# ---------------------------------------------------------------------- changes


def wish(shown: dict[str, Any], do: str, label: str = "", **more: Any) -> dict[str, Any]:
    entry = {"entry": line_of(shown, label)["entry"]} if label else {}
    return {"do": do, "revision": shown["revision"], **entry, **more}


def test_changes_are_answered_with_what_they_altered(kept: Archive, tmp_path: Path) -> None:
    with reviewing(kept) as gate:
        run = kept_run(kept, tmp_path).run.id
        shown = view(gate, run)
        asked_for = wish(shown, "amend", "heart rate", changes={"value": "50"}, by="Ada", reason="heard again")
        status, answer = sent(gate, f"/runs/{run}/changes", asked_for)
        assert status == 200
        (line,) = answer["lines"]
        assert line["words_said"] == "heart rate 50 a minute"
        assert [(step["by"], step["reason"]) for step in line["trail"]] == [("Ada", "heard again")]
        assert answer["waiting"] == 1
        assert answer["revision"] != shown["revision"]
        status, answer = sent(gate, f"/runs/{run}/changes", {"do": "undo", "revision": answer["revision"]})
        assert answer["lines"][0]["value"] == "15"
        assert view(gate, run)["waiting"] == 2
        assert list(faults(kept, run)) == []


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Gate, str, str, Archive]]:
    """A server with two runs; nothing that the table below asks of it may change either."""
    folder = tmp_path_factory.mktemp("attacked")
    with open_archive(folder / "archive.sqlite3") as archive, reviewing(archive) as gate:
        one, two = kept_run(archive, folder).run.id, kept_run(archive, folder).run.id
        yield gate, one, two, archive


FORGED: list[tuple[str, dict[str, Any] | bytes, int, str]] = [
    ("unknown entry", {"entry": "e999"}, 422, "no entry"),
    ("entry that is none", {"entry": "e1' OR 1=1 --"}, 422, "no entry"),
    ("entry that is no text", {"entry": {"$gt": ""}}, 400, "cannot be read"),
    ("no entry", {"entry": None}, 422, "no entry"),
    ("no revision", {"revision": None}, 409, "was changed since"),
    ("stale revision", {"revision": "RUN.1"}, 409, "was changed since"),
    ("revision of another run", {"revision": "OTHER"}, 409, "was changed since"),
    ("something that cannot be asked", {"do": "finish"}, 422, "cannot be asked"),
    ("a direction", {"do": "repeat_region"}, 422, "cannot be asked"),
    ("nothing asked", {"do": None}, 422, "cannot be asked"),
    ("a field of the record", {"do": "amend", "changes": {"superseded_by": "e2"}}, 422, "cannot be changed"),
    ("the evidence", {"do": "amend", "changes": {"evidence": {}}}, 422, "cannot be changed"),
    ("changes that are none", {"do": "amend", "changes": "all"}, 400, "cannot be read"),
    ("a value that is a mapping", {"do": "amend", "changes": {"value": {"text": "1"}}}, 422, "written as text"),
    ("a status that is none", {"do": "amend", "changes": {"status": SCRIPT}}, 422, "no status"),
    ("a place that is none", {"do": "amend", "changes": {"site": SCRIPT}}, 422, "no place"),
    ("signed as the speaker", {"by": "speaker"}, 400, "cannot be signed"),
    ("signed at length", {"by": "x" * 1000}, 400, "too long"),
    ("a reason without end", {"reason": "x" * 5000}, 400, "too long"),
    ("no JSON", b"{", 400, "cannot be read"),
    ("JSON that is no object", b"[]", 400, "cannot be read"),
    ("JSON without end", b"[" * 60000, 400, "cannot be read"),
    ("not UTF-8", b"\xff\xfe{}", 400, "cannot be read"),
    ("more than may be sent", b"x" * 70000, 413, "more than may be sent"),
]


@pytest.mark.parametrize(("body", "status", "part"), [row[1:] for row in FORGED], ids=[row[0] for row in FORGED])
def test_forged_changes_change_nothing(
    attacked: tuple[Gate, str, str, Archive], body: dict[str, Any] | bytes, status: int, part: str
) -> None:
    gate, run, other, archive = attacked
    before = (archive.run(run).events, archive.run(other).events)
    if isinstance(body, dict):
        shown = view(gate, run)
        body = {**wish(shown, "confirm", "murmur"), **body}
        if body["revision"] == "OTHER":
            body["revision"] = view(gate, other)["revision"]
    got_status, answer = sent(gate, f"/runs/{run}/changes", body)
    assert (got_status, part in str(answer)) == (status, True)
    assert SCRIPT not in asked(gate, "GET", f"/runs/{run}", ours(gate))[2]
    assert (archive.run(run).events, archive.run(other).events) == before


CHANGING = ["/runs/RUN/changes", "/runs/RUN/end", "/runs/RUN/again", "/runs/RUN/remove", "/taking?name=a.txt"]


@pytest.mark.parametrize("path", CHANGING)
@pytest.mark.parametrize("left_out", ["x-crownsole-token", "Cookie", "Origin"])
def test_whatever_changes_something_needs_the_page(
    attacked: tuple[Gate, str, str, Archive], path: str, left_out: str
) -> None:
    gate, run, _, archive = attacked
    headers = {name: value for name, value in ours(gate).items() if name != left_out}
    body = json.dumps({"remove": run}).encode()
    assert asked(gate, "POST", path.replace("RUN", run), headers, body)[0] == 403
    assert asked(gate, "GET", path.replace("RUN", run).replace("/again", "/changes"), ours(gate))[0] in (404, 405)
    assert len(archive.runs()) == 2


NAMES = ["last", "..", "RU", "%2e%2e", "..%2f..%2fetc%2fpasswd", "%25", "a' OR 1=1 --", "_", "%00", "x" * 999, "%C3%A9"]


@pytest.mark.parametrize("name", NAMES, ids=[name[:20] for name in NAMES])
@pytest.mark.parametrize("rest", ["", "/view.json", "/sound.wav", "/note", "/files/html", "/run.zip"])
def test_only_the_whole_id_of_a_run_opens_it(
    attacked: tuple[Gate, str, str, Archive], name: str, rest: str
) -> None:
    gate, run, _, _ = attacked
    wanted = run[:4] if name == "RU" else name.replace(" ", "%20")
    status, _, text = asked(gate, "GET", f"/runs/{wanted}{rest}", ours(gate))
    assert status in (400, 404)
    assert "root:" not in text


def test_what_was_said_is_shown_as_text_wherever_it_stands(kept: Archive, tmp_path: Path) -> None:
    said = f"heart rate 72 {SCRIPT}\nno murmurs <img src=x onerror=alert(1)>\n".encode()
    with reviewing(kept) as gate:
        run = taken(gate, f"{SCRIPT}.txt", said)["run"]
        for path in ("/runs", f"/runs/{run}", f"/runs/{run}/note?trace=1"):
            status, headers, text = got(gate, path)
            assert status == 200
            assert SCRIPT not in text
            assert "<img src=x" not in text
            assert "script-src 'self'" in headers["content-security-policy"]
        assert got(gate, f"/runs/{run}/view.json")[1]["content-type"] == "application/json"


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


def taken(gate: Gate, name: str, data: bytes) -> dict[str, Any]:
    """What has become of a file that was sent."""
    from urllib.parse import quote

    status, job = sent(gate, f"/taking?name={quote(name)}", data)
    assert status == 200, job
    until = time.monotonic() + 60
    while job["state"] in ("waiting", "working") and time.monotonic() < until:
        time.sleep(0.02)
        job = json.loads(got(gate, f"/taking/{job['id']}")[2])
    return job


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
    folder = tmp_path / "pack" / "findings"
    folder.mkdir(parents=True)
    text = 'region: heart\nconcepts:\n  - id: murmur\n    label: heart murmur\n    forms: ["murmur(s)"]\n'
    (folder / "heart.yaml").write_text(text, encoding="utf-8")
    run = kept_run(kept, tmp_path).run.id
    with reviewing(kept, packs=(str(folder.parent),)) as gate:
        shown = view(gate, run)
        assert shown["changed_lexicon"]
        assert line_of(shown, "murmur")
        difference = json.loads(got(gate, f"/runs/{run}/again")[2])
        assert "+ Heart: heart murmur absent" in difference["lines"]
        assert sent(gate, f"/runs/{run}/again", {"seal": "forged"})[0] == 409
        assert sent(gate, f"/runs/{run}/again", {"seal": difference["seal"]})[0] == 200
        assert line_of(view(gate, run), "heart murmur")
        assert not view(gate, run)["changed_lexicon"]
