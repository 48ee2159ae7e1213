"""The review pages as they are asked over loopback: changes, sound by ranges, files in and out, and attacks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listener.archive import Archive, open_archive
from listener.archive.reading import faults
from listener.pages.guard import Gate
from parser.record import Record
from tests.listener.pages.live import asked, ours
from tests.listener.pages.reviewed import (
    fetched,
    got,
    kept_run,
    line_of,
    reviewing,
    samples,
    sent,
    taken,
    transcript,
    view,
)  # fmt: skip

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
