"""Keeping what was heard and read; a run as one file, refused when it was changed."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon import load
from listener.archive import Archive, Event, Segment, open_archive
from listener.archive.exchange import bring_in, export
from listener.archive.keeping import keep
from listener.archive.reading import differences, faults, file_again, filed_record, read_again, sound_of
from listener.errors import CrownsoleError, InputError, StorageError
from parser.transcript import transcript_of_text
from tests.listener import postgres
from tests.listener.sounds import sixteen, speech_like, write_wav

SAID = "blood pressure one twenty eight over eighty two\nno carotid bruits bilaterally\npedal edema two plus"


# ---------------------------------------------------------------------- keeping what was heard and read


def test_a_kept_transcript_gives_the_same_record_as_one_not_kept(kept: Archive, tmp_path: Path) -> None:
    from listener.runs import Options, record_of

    transcript = transcript_of_text(SAID + "\nrecorder withdraw that", "dictated.txt")
    sound = write_wav(tmp_path / "run.wav", speech_like(2.3))
    plain = record_of(transcript, Options())
    record = keep(kept, transcript, load(), sound=sound)
    assert record.model_copy(update={"run": plain.run}) == plain
    (info,) = kept.runs()
    assert (info.status, info.head.kind, info.seconds) == ("finished", "hear", pytest.approx(2.3, abs=0.01))
    assert filed_record(kept, info.id) == record
    assert np.array_equal(np.concatenate(list(sound_of(kept, info.id))), sixteen(speech_like(2.3)))
    again = read_again(kept, info.id, load())
    assert again.model_copy(update={"run": record.run}) == record


def test_reading_anew_shows_what_changes_before_it_is_taken(kept: Archive) -> None:
    lexicon = load()
    record = keep(kept, transcript_of_text(SAID, "dictated.txt"), lexicon)
    run = kept.run("last").id
    older = record.model_copy(  # as an older lexicon might have filed it
        update={
            "regions": tuple(
                region.model_copy(
                    update={"entries": tuple(e.model_copy(update={"status": "present"}) for e in region.entries)}
                )
                for region in record.regions
            )
        }
    )
    file_again(kept, run, older)
    assert filed_record(kept, run) == older
    again = read_again(kept, run, lexicon)
    lines = list(differences(older, again, lexicon))
    assert lines == [
        "- Neck: bruit, carotid artery, both sides",
        "+ Neck: bruit absent, carotid artery, both sides",
    ]
    file_again(kept, run, again)
    assert filed_record(kept, run) == record
    assert list(differences(record, again, lexicon)) == []
    assert kept.run(run).status == "finished"
    assert list(faults(kept, run)) == []


# ---------------------------------------------------------------------- one file to hand on


def exported(archive: Archive, tmp_path: Path) -> Path:
    record = keep(
        archive,
        transcript_of_text(SAID, "dictated.txt"),
        load(),
        sound=write_wav(tmp_path / "run.wav", speech_like(2.3)),
    )
    path = tmp_path / "run.zip"
    export(archive, "last", record, path)
    return path


def test_a_run_goes_out_and_comes_back(kept: Archive, tmp_path: Path, postgres_server: str) -> None:
    path = exported(kept, tmp_path)
    run = kept.run("last").id
    with pytest.raises(StorageError, match="exists already"):
        export(kept, run, read_again(kept, run, load()), path)
    with pytest.raises(StorageError, match="here already"):
        bring_in(kept, path)
    with open_archive(postgres.new_database(postgres_server, "imported")) as other:
        assert bring_in(other, path).status == "finished"
        assert list(faults(other, run)) == []
        assert filed_record(other, run) == filed_record(kept, run)
        assert list(other.segments(run)) == list(kept.segments(run))
    with zipfile.ZipFile(path) as file:
        names = file.namelist()
        assert json.loads(file.read("record.json"))["schema"] == "crownsole-record/1"
    assert [name for name in names if not name.startswith("sound/")] == ["record.json", "events.jsonl", "run.json"]


def _edited(name: str, edit: Callable[[bytes], bytes]) -> Callable[[dict[str, bytes]], None]:
    def change(parts: dict[str, bytes]) -> None:
        before = parts[name]
        parts[name] = edit(before)
        assert parts[name] != before

    return change


def _with_sums(change: Callable[[dict[str, bytes]], None]) -> Callable[[dict[str, bytes]], None]:
    """The change of one who also mends the sums of the parts."""
    import hashlib

    def both(parts: dict[str, bytes]) -> None:
        change(parts)
        stated = json.loads(parts["run.json"])
        stated["sha256"] = {name: hashlib.sha256(parts[name]).hexdigest() for name in stated["sha256"]}
        parts["run.json"] = json.dumps(stated).encode()

    return both


_ABSENT = _edited("record.json", lambda d: d.replace(b'"absent"', b'"present"'))
_WORD = _edited("events.jsonl", lambda d: d.replace(b"no carotid", b"oh carotid"))
TAMPERED: dict[str, tuple[Callable[[dict[str, bytes]], None], str]] = {
    "a word changed": (_WORD, "events.jsonl in it was changed"),
    "a word changed, sums mended": (_with_sums(_WORD), "was changed, or one before it is gone"),
    "the record changed": (_ABSENT, "record.json in it was changed"),
    "the record changed, sums mended": (_with_sums(_ABSENT), "not the record that was filed"),
    "an event left out": (
        _with_sums(_edited("events.jsonl", lambda d: b"\n".join(d.split(b"\n")[1:]))),
        "one before it is gone",
    ),
    "sound changed": (_edited("sound/0000002.flac", lambda d: d[:-3] + b"abc"), "sound 2 was changed"),
    "sound left out": (lambda parts: parts.pop("sound/0000003.flac") and None, "sound is missing"),
    "sound put in": (lambda parts: parts.update({"sound/0000009.flac": b"x"}), "more than its events tell"),
    "sound exchanged": (
        lambda parts: parts.update({"sound/0000001.flac": parts["sound/0000002.flac"]}),
        "sound 1 was changed",
    ),
    "another head": (
        _edited("run.json", lambda d: d.replace(b"dictated.txt", b"imitated.txt")),
        "was changed, or one before",
    ),
    "another kind": (
        _edited("run.json", lambda d: d.replace(b"crownsole-run/1", b"crownsole-run/9")),
        "of kind 'crownsole-run/9'",
    ),
    "an id with a path": (
        _edited(
            "run.json",
            lambda d: json.dumps({**json.loads(d), "head": {**json.loads(d)["head"], "id": "../../x"}}).encode(),
        ),
        "its id is none of ours",
    ),
    "no head": (lambda parts: parts.pop("run.json") and None, "no run that Crownsole wrote"),
    "no JSON": (lambda parts: parts.update({"run.json": b"{"}), "no run that Crownsole wrote"),
    "a list": (lambda parts: parts.update({"run.json": b"[]"}), "no run that Crownsole wrote"),
    "deep JSON": (lambda parts: parts.update({"run.json": b"[" * 100_000}), "no run that Crownsole wrote"),
}


@pytest.mark.parametrize("how", TAMPERED)
def test_a_tampered_file_is_refused_and_nothing_is_taken(how: str, kept: Archive, tmp_path: Path) -> None:
    path = exported(kept, tmp_path)
    kept.remove("last")
    with zipfile.ZipFile(path) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    change, message = TAMPERED[how]
    change(parts)
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w") as file:
        for name, data in parts.items():
            file.writestr(name, data)
    with pytest.raises(InputError, match=message):
        bring_in(kept, bad)
    assert kept.runs() == ()
    assert bring_in(kept, path).status == "finished"


@pytest.fixture(scope="module")
def handed_on(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Archive, bytes, list[Event], list[Segment]]]:
    """An empty archive, an exported run, and what stands in it."""
    folder = tmp_path_factory.mktemp("damage")
    with open_archive(folder / "a.sqlite3") as archive:
        content = exported(archive, folder).read_bytes()
        run = archive.run("last").id
        wanted = list(archive.events(run)), list(archive.segments(run))
        archive.remove(run)
        yield archive, content, *wanted


@settings(max_examples=60, deadline=None)
@given(share=st.floats(0, 1, exclude_max=True), flip=st.integers(1, 255))
def test_no_damaged_byte_gets_in_unnoticed(
    share: float,
    flip: int,
    handed_on: tuple[Archive, bytes, list[Event], list[Segment]],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Any byte of the file changed: refused in a sentence, or the run is the same to the last word and sample."""
    archive, content, events, segments = handed_on
    damaged = bytearray(content)
    damaged[int(share * len(content))] ^= flip
    path = tmp_path_factory.mktemp("one") / "run.zip"
    path.write_bytes(damaged)
    try:
        run = bring_in(archive, path).id
    except CrownsoleError as error:
        refusal = str(error)
        assert "run.zip" in refusal
        assert archive.runs() == ()
    else:
        assert (list(archive.events(run)), list(archive.segments(run))) == (events, segments)
        archive.remove(run)
