"""Kept runs to review in tests, with sound that tells which second it is, and a server of the review pages."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np

from listener.archive import Archive
from listener.archive.events import Kind
from listener.archive.keeping import keep
from listener.archive.summaries import file
from listener.bars import Progress
from listener.errors import ModelError
from listener.pages.app import create_app
from listener.pages.guard import Gate
from listener.pages.review import UPLOADS, routes
from listener.pages.review_desk import Desk
from listener.pages.review_taking import MakeEars, Taking
from listener.pages.serving import running
from listener.replay import begun, utterance_body
from listener.runs import Ears, Options
from parser.record import Record
from parser.transcript import Transcript, Word, transcript_of_text, transcript_of_words
from tests.listener.pages.live import asked, ours
from tests.listener.sessions import LEXICON
from tests.listener.sounds import write_wav

SAID = (
    "blood pressure one sixty eight over ninety four left arm sitting",
    "heart rate fifteen",
    "okay the next thing is the neck",
    "no carotid bruits bilaterally",
    "heart sounds regular no murmurs",
    "pedal pulses two plus bilaterally",
    "correction one plus on the left",
    "abdomen soft and nontender",
)
DOUBTS = {
    (1, "fifteen"): "heard 'fifteen', may be 'fifty'",
    (4, "no"): "'no' was not heard clearly",
}


def transcript(source: str = "a rehearsal.wav") -> Transcript:
    """A short run with two doubtful words; a word lasts 0.3 s, a pause 1 s."""
    at, runs = 0.5, []
    for number, text in enumerate(SAID):
        words = []
        for word in text.split():
            doubt = DOUBTS.get((number, word))
            heard = "brew eats" if word == "bruits" else word
            words.append(Word(word, heard, round(at, 3), round(at + 0.3, 3), 0.5 if doubt else 0.98, doubt))
            at += 0.32
        runs.append(words)
        at += 1.0
    return transcript_of_words(runs, source, round(at, 2))


def samples(seconds: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    """A tone that rises all the time: no two stretches of it are the same."""
    time = np.arange(round(seconds * 16000)) / 16000
    return 0.3 * np.sin(2 * np.pi * (100 * time + 4 * time**2))


def kept_run(archive: Archive, folder: Path, source: str = "a rehearsal.wav") -> Record:
    """A run with sound."""
    said = transcript(source)
    assert said.duration_s is not None
    wav = write_wav(folder / "sound.wav", samples(said.duration_s))
    return keep(archive, said, LEXICON, sound=wav)


LONG = (
    "heart rate 72", "no murmurs no rubs no gallops", "lungs clear no crackles no wheezes", "abdomen soft nontender",
)


def long_run(archive: Archive, lines: int) -> str:
    """The id of a run with so many lines (nine for each four utterances), without sound; written in one piece."""
    said = transcript_of_text("\n".join(LONG * (lines // 9)), "a long run")
    with archive.begin("read", said.source, lexicon=LEXICON.version) as writer:
        state = begun(writer.head, LEXICON)
        spoken: list[tuple[Kind, dict[str, Any]]] = [("utterance", utterance_body(u)) for u in said.utterances]
        end = (("request", {"id": "end", "by": "program"}), ("ending", {"how": "complete"}))
        for event in writer.append(*spoken, *end):
            state.take(event)
        record = state.record()
        file(writer, record, LEXICON.version)
    return record.run.id


def other_words(folder: Path) -> Path:
    """A pack in which a murmur has another label."""
    place = folder / "pack" / "findings"
    place.mkdir(parents=True)
    text = 'region: heart\nconcepts:\n  - id: murmur\n    label: heart murmur\n    forms: ["murmur(s)"]\n'
    (place / "heart.yaml").write_text(text, encoding="utf-8")
    return place.parent


def deaf(progress: Progress) -> Ears:
    raise ModelError("There is no model in this test.")


@contextmanager
def reviewing(
    archive: Archive, ears: MakeEars = deaf, uploads: Mapping[str, int] = UPLOADS, packs: tuple[str, ...] = ()
) -> Iterator[Gate]:
    """A server of the review pages."""
    room = routes(Desk(archive, packs), Taking(archive, ears, Options(packs)))
    with running(lambda gate: create_app(gate, room), uploads=uploads) as gate:
        yield gate


def got(gate: Gate, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
    """The answer to a look at a path, as our page asks."""
    return asked(gate, "GET", path, {**ours(gate), **{k.replace("_", "-"): v for k, v in headers.items()}})


def sent(gate: Gate, path: str, body: Any) -> tuple[int, dict[str, Any]]:
    """Status and JSON of the answer to a request that changes something, as our page sends it."""
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    status, _, text = asked(gate, "POST", path, ours(gate), data)
    return status, json.loads(text) if text.startswith("{") else {"text": text}


def view(gate: Gate, run: str) -> dict[str, Any]:
    status, _, text = got(gate, f"/runs/{run}/view.json")
    assert status == 200
    return dict(json.loads(text))


def line_of(shown: Mapping[str, Any], label: str) -> dict[str, Any]:
    return next(line for station in shown["stations"] for line in station.get("lines", ()) if line["label"] == label)


def fetched(gate: Gate, path: str, asked_range: str | None = None) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", gate.port, timeout=10)
    try:
        connection.request("GET", path, headers={**ours(gate), **({"Range": asked_range} if asked_range else {})})
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
    finally:
        connection.close()


def taken(gate: Gate, name: str, data: bytes) -> dict[str, Any]:
    """What has become of a file that was sent."""
    status, job = sent(gate, f"/taking?name={quote(name)}", data)
    assert status == 200, job
    until = time.monotonic() + 60
    while job["state"] in ("waiting", "working") and time.monotonic() < until:
        time.sleep(0.02)
        job = json.loads(got(gate, f"/taking/{job['id']}")[2])
    return job
