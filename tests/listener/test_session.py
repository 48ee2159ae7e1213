"""A live run: the same from any cut; sound before words; watchers, threads, kills and failures."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listener.archive import Archive, Event, open_archive
from listener.archive.events import INPUTS
from listener.archive.reading import faults, filed_record, read_again, sound_of
from listener.doubt import TOO_LOUD
from listener.errors import StorageError, UsageError
from listener.levels import Block
from listener.replay import State, begun, replayed
from listener.session import SEGMENT, Partial, Session, Words
from listener.sound import RATE
from tests.bench import reliability
from tests.listener.archives import noise
from tests.listener.sessions import BRUIT, LEXICON, PRESSURE, SAID, spoken, standing, started

# ---------------------------------------------------------------------- the same run again, from any cut

POOL = (
    "no carotid bruits bilaterally",
    "pedal edema two plus",
    "heart rate seventy two",
    "correction heart rate seventy six",
    "blood pressure",
    "one twenty over eighty",
    "lungs clear",
    "scratch that",
    "moving on to the abdomen",
    "no tenderness or",
    "guarding",
    "recorder withdraw that",
    "recorder undo",
    "recorder pause",
    "recorder go on",
    "recorder finish",
    "recorder start this station again",
    "recorder mark this",
    "recorder yes",
    "recorder no",
    "follow my finger",
)
ACTS = st.one_of(
    st.sampled_from(POOL),
    st.sampled_from(POOL),
    st.tuples(
        st.sampled_from(["confirm", "withdraw_entry", "restore", "undo", "withdraw", "pause", "go_on"]),
        st.integers(1, 6),
    ),
)


def act(session: Session, acts: Sequence[str | tuple[str, int]]) -> None:
    for one in acts:
        if isinstance(one, str):
            session.type(one)
        else:
            session.request(one[0], entry=f"e{one[1]}")


@settings(max_examples=25, deadline=None)
@given(st.lists(ACTS, max_size=14), st.data())
def test_a_run_is_the_same_read_again_and_gone_on_with_after_any_kill(
    acts: list[str | tuple[str, int]], data: st.DataObject
) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "a.sqlite3") as archive:
        whole = started(archive)
        act(whole, acts)
        events = list(archive.events(whole.id))
        state, missing = replayed(whole.writer.head, LEXICON, events)
        assert missing == []
        assert state.record() == whole.record()
        assert standing(whole) == sorted_standing(state)
        cut = data.draw(st.integers(0, len(events)))  # killed after any event was kept
        again, missing = replayed(whole.writer.head, LEXICON, events[:cut])
        ahead = events[cut : cut + len(missing)]
        assert [(e.kind, e.body) for e in ahead] == missing
        for event in events[cut:]:
            if event.kind in INPUTS:
                again.take(event)
        assert again.record() == whole.record()
        whole.close()
        assert list(faults(archive, whole.id)) == []


def sorted_standing(state: State) -> list[tuple[str, str, str | None]]:
    entries = sorted((e.evidence.chars, e.concept, e.status, e.value and e.value.text) for _, e in state.entries())
    return [entry[1:] for entry in entries]


def test_going_on_catches_up_with_what_a_kill_left_undone(archive: Archive) -> None:
    session = started(archive, SAID)
    run = session.id
    from listener.replay import utterance_body
    from parser.transcript import utterance_of_words

    place = session._next_place()
    body = utterance_body(utterance_of_words(tuple(spoken("pedal edema two plus", 5.0)), *place))
    session.writer.append(("utterance", body))  # kept, and then the process died before it was understood
    session.writer.close()
    assert archive.run(run).status == "interrupted"
    session = Session.go_on(archive, run, LEXICON)
    assert ("edema", "present", "2+") in standing(session)
    kinds = [event.kind for event in archive.events(run)]
    assert kinds[-2:] == ["statement", "resumption"]
    session.type("lungs clear")
    record = session.close()
    assert record == filed_record(archive, run) == read_again(archive, run, LEXICON)
    assert record.run.remarks == ("The run was interrupted after 0:00 and gone on with.",)
    assert archive.run(run).status == "finished"


def test_a_finished_run_can_be_gone_on_with_and_a_heard_one_takes_no_sound(kept: Archive) -> None:
    session = started(kept, SAID)
    session.close()
    again = Session.go_on(kept, session.id, LEXICON)
    assert kept.run(session.id).status == "under way"
    again.request("withdraw_entry", entry="e2", reason="not examined")
    record = again.close("reviewed")
    assert [a.reason for a in record.amendments] == ["not examined"]
    assert record.run.remarks == ()
    with kept.begin("hear", "x.wav", lexicon=LEXICON.version) as writer:
        heard = writer.head.id
    with pytest.raises(UsageError, match="no more sound"):
        Session.go_on(kept, heard, LEXICON, lambda tell: Ears([]))
    Session.go_on(kept, heard, LEXICON).close()


def test_requests_find_their_entry_when_a_lexicon_numbers_otherwise() -> None:
    from listener.archive.events import Head
    from listener.replay import utterance_body
    from parser.transcript import utterances_of_text

    state = begun(Head("abcdef", "live", "x", "2026-01-01T00:00:00+00:00", "v"), LEXICON)
    for number, utterance in enumerate(utterances_of_text(SAID), 1):
        state.take(Event(number, "utterance", "2026-01-01T00:00:00+00:00", utterance_body(utterance)))
    bruit = next(e for _, e in state.entries() if e.concept == "bruit")
    meant = {
        "id": "withdraw_entry",
        "by": "page",
        "entry": "e1",
        "concept": "bruit",
        "chars": list(bruit.evidence.chars),
    }
    state.take(Event(3, "request", "2026-01-01T00:00:01+00:00", meant))
    assert [e.concept for _, e in state.entries()] == ["blood_pressure"]


# ---------------------------------------------------------------------- sound


class Ears:
    """Hears nothing but what it was told to hear: words at seconds of its stream."""

    def __init__(self, script: Sequence[tuple[float, str]], confidence: float = 1.0) -> None:
        self.script = list(script)
        self.confidence = confidence
        self.samples = 0
        self.taken: list[Block] = []

    def accept(self, block: Block) -> list[Words]:
        self.taken.append(block)
        self.samples += len(block)
        return self._due(self.samples / RATE)

    def finish(self) -> list[Words]:
        return self._due(float("inf"))

    def _due(self, now: float) -> list[Words]:
        due = [(at, text) for at, text in self.script if at + 1.4 <= now]
        self.script = self.script[len(due) :]
        return [tuple(replace(word, confidence=self.confidence) for word in spoken(text, at)) for at, text in due]


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 20_000), max_size=12))
def test_all_sound_is_kept_in_order_and_never_more_than_half_a_second_waits(sizes: list[int]) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "a.sqlite3") as archive:
        session = started(archive)
        whole = noise(sum(sizes))
        at = 0
        for size in sizes:
            session.feed(whole[at : at + size])
            at += size
            assert at - archive.run(session.id).seconds * RATE < SEGMENT
            assert session.seconds == pytest.approx(at / RATE)
        session.close()
        stored = list(sound_of(archive, session.id))
        assert all(len(block) <= RATE for block in stored)
        assert np.array_equal(np.concatenate([*stored, np.zeros(0, np.int16)]), whole)


def test_a_room_too_loud_is_told_once_and_the_run_goes_on(kept: Archive) -> None:
    ears = Ears([(at * 4.0, "skin warm and dry and no edema in the legs") for at in range(6)], confidence=0.3)
    session = Session.begin(kept, LEXICON, "a test", lambda tell: ears)
    session.feed(noise(RATE * 30))
    session.close()
    told = [event.body["text"] for event in kept.events(session.id) if event.kind == "remark"]
    assert told == [TOO_LOUD]
    assert TOO_LOUD in session.record().run.remarks
    assert len(session.state.utterances) == 6


def test_sound_is_kept_before_the_words_in_it(kept: Archive) -> None:
    ears = Ears([(0.2, "no carotid bruits"), (2.0, "pedal edema two plus")])
    session = Session.begin(kept, LEXICON, "a test", lambda tell: ears)
    session.feed(noise(RATE * 4))
    session.close()
    sound = 0.0
    for event in kept.events(session.id):
        if event.kind == "sound":
            sound = (event.body["start"] + event.body["samples"]) / RATE
        if event.kind == "utterance":
            assert event.body["words"][-1][3] <= sound
    assert len(session.state.utterances) == 2


def test_going_on_hears_again_what_was_kept_and_not_yet_understood(kept: Archive) -> None:
    session = Session.begin(
        kept, LEXICON, "a test", lambda tell: Ears([(0.2, "no carotid bruits"), (3.0, "lost words")])
    )
    session.feed(noise(round(RATE * 3.6)))
    assert [u.text for u in session.state.utterances] == ["no carotid bruits"]
    session.writer.close()  # as a kill does: the second utterance had not ended
    ears = Ears([(1.0, "pedal edema two plus")])
    again = Session.go_on(kept, session.id, LEXICON, lambda tell: ears)
    kept_s = 3.5
    end = again.state.utterances[0].words[-1].end
    assert end is not None
    assert ears.samples / RATE == pytest.approx(kept_s - end - 0.1, abs=0.001)
    again.feed(noise(RATE * 2))
    words = again.state.utterances[1].words
    assert words[0].start == pytest.approx(end + 0.1 + 1.0)
    record = again.close()
    assert record.run.duration_s == pytest.approx(5.5)
    assert read_again(kept, session.id, LEXICON) == record


# ---------------------------------------------------------------------- watchers and threads


def test_watchers_are_told_after_keeping_and_one_that_fails_harms_nobody(kept: Archive, tmp_path: Path) -> None:
    seen: list[Event] = []
    partials: list[str] = []

    def watch(told: Event | Partial) -> None:
        if isinstance(told, Partial):
            partials.append(told.text)
            return
        with open_archive(tmp_path / "archive.sqlite3") as other:  # another reader finds it already
            assert next(other.events(session.id, after=told.number - 1)) == told
        seen.append(told)

    def fail(told: Event | Partial) -> None:
        raise OSError("the browser is gone")

    session = started(kept)
    session.watch(fail)
    unwatch = session.watch(watch)
    session.show("blood pr")
    session.type(SAID)
    session.feed(noise(RATE))
    unwatch()
    session.type("lungs clear")
    session.close()
    assert partials == ["blood pr"]
    assert [e.number for e in seen] == list(range(1, len(seen) + 1))
    assert {e.kind for e in seen} == {"utterance", "statement", "sound"}


def test_sound_and_requests_from_several_threads(kept: Archive) -> None:
    session = started(kept, SAID)

    def feed() -> None:
        for number in range(10):
            session.feed(noise(4000, number))

    def ask() -> None:
        for _ in range(10):
            session.request("withdraw")
            session.request("undo")

    threads = [threading.Thread(target=work) for work in (feed, ask, ask)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    record = session.close()
    assert list(faults(kept, session.id)) == []
    assert read_again(kept, session.id, LEXICON) == record
    assert kept.run(session.id).seconds == pytest.approx(2.5)


# ---------------------------------------------------------------------- failures


def test_after_a_failure_nothing_more_is_shown_and_the_run_goes_on_later(
    kept: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = started(kept, SAID)
    shown: list[Event | Partial] = []
    session.watch(shown.append)

    def full(*said: object) -> None:
        raise StorageError("There is no room left on the disk.")

    monkeypatch.setattr(session.writer, "append", full)
    for _ in range(2):
        with pytest.raises(StorageError, match="no room left"):
            session.type("lungs clear")
    monkeypatch.undo()
    with pytest.raises(StorageError, match="no room left"):  # what it has in mind may not be what is kept
        session.type("lungs clear")
    assert shown == []
    with pytest.raises(StorageError, match="no room left"):
        session.close()
    assert kept.run(session.id).status == "interrupted"
    again = Session.go_on(kept, session.id, LEXICON)
    assert standing(again) == [PRESSURE, BRUIT]
    again.close()


def test_kills_at_random_moments_lose_no_word_and_less_than_a_second_of_sound(place: str) -> None:
    """The benchmark ``tests/bench/reliability.py`` does two hundred of these."""
    figures = reliability.measure(6, 3, place, longest_s=0.25, each=3)
    assert figures.kills == 6
    assert figures.shown > 0
    assert (figures.words_lost, figures.other_lost, figures.wrong) == (0, 0, [])
    assert max(figures.lost_s) <= 1.0
