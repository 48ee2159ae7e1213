"""The engine of the live page over its socket: sound once and in order, runs that outlive pages, failures told."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from listener.archive import Archive
from listener.archive.reading import faults, filed_record, sound_of
from listener.bars import Progress, silent
from listener.errors import ModelError, StorageError
from listener.pages.ears import Hears
from listener.pages.practice import Practice
from listener.pages.serving import running
from listener.pages.starting import live_app
from listener.pages.takes import HEADER, Takes
from listener.sound import RATE
from tests.listener.archives import noise
from tests.listener.pages.live import Line, asked, begun, opened, ours, practising
from tests.listener.sessions import LEXICON, SAID, started

BLOCK = 1600
TAKE = "a-take-of-the-tests"


def listened_to(line: Line, name: str = TAKE) -> int:
    line.ask(do="listen", take=name)
    return int(line.until("taken", take=name)["samples"])


def say(line: Line, seconds: float, start: int = 0) -> int:
    """Sends noise in tenths of a second; where the take is then."""
    whole = noise(round(seconds * RATE), 1)
    for at in range(0, len(whole), BLOCK):
        line.sound(start + at, whole[at : at + BLOCK])
    return start + len(whole)


# ---------------------------------------------------------------------- a run by voice


def test_a_run_by_voice_alone_from_its_beginning_to_its_end(kept: Archive) -> None:
    trial = [(0.5, "hello there"), (1.0, "recorder begin")]
    run = [
        (2.0, "no carotid bruits bilaterally"),
        (4.0, "blood pressure one twenty eight over eighty two"),
        (5.0, "recorder withdraw that"),
        (6.0, "recorder undo"),
        (7.0, "recorder finish"),
    ]
    with practising(kept, trial, run) as (gate, _practice), opened(gate) as line:
        line.until("everything", phase="ready")
        line.ask(do="try", checklist="complete", learner=" L-07 ")
        listened_to(line)
        say(line, 12.0)
        assert line.until("trial", ended=True)["text"] == "hello there"
        line.until("everything", phase="running")
        assert line.until("partial")["text"] == "no carotid"
        assert line.until("said")["text"] == "no carotid bruits bilaterally"
        filed = line.until("filed")
        assert (filed["station"], filed["words"], filed["confirm"]) == (
            "Neck", "bruit absent, carotid artery, both sides", None
        )
        neck = line.until("progress")
        assert [(s["id"], s["how"]) for s in neck["stations"]] == [("neck", "partial")]
        assert neck["current"] == "neck"
        line.until("changed", how="taken back")
        line.until("changed", how="replaced")
        assert line.until("standing", finished=True)["closes_in"] > 0
        over = line.until("everything", phase="kept")
    info = kept.run(over["run"])
    record = filed_record(kept, info.id)
    assert (info.status, info.learner) == ("finished", "L-07")
    assert record is not None
    assert {entry.concept for _, entry in record.entries().values()} == {"bruit", "blood_pressure"}
    assert list(faults(kept, info.id)) == []
    assert info.seconds == pytest.approx(11.0, abs=0.2)  # all sound after the word "begin"


def test_an_end_taken_back_in_time_keeps_the_run_open(kept: Archive) -> None:
    with practising(kept, grace_s=0.5) as (gate, _practice), begun(gate) as line:
        line.ask(do="ask", name="finish")
        line.until("standing", finished=True)
        line.ask(do="ask", name="undo")
        line.until("standing", finished=False)
        time.sleep(0.7)
        line.ask(do="type", text=SAID)
        line.until("progress", entries=2)
        line.ask(do="ask", name="finish")
        line.until("standing", finished=True)
        line.ask(do="close")
        line.until("everything", phase="kept")
        line.ask(do="again")
        assert line.until("everything", phase="ready")["runs"] == []


# ---------------------------------------------------------------------- pages come and go


def test_a_connection_that_breaks_loses_no_sample_and_doubles_none(kept: Archive) -> None:
    whole = noise(RATE * 3)
    with practising(kept) as (gate, practice):
        with begun(gate) as line:
            listened_to(line)
            for at in range(0, RATE, BLOCK):
                line.sound(at, whole[at : at + BLOCK])
            line.until("taken", samples=RATE)
        with opened(gate) as line:  # what was sent but not known to be taken is sent again
            assert listened_to(line) == RATE
            for at in range(RATE // 2, len(whole), BLOCK):
                line.sound(at, whole[at : at + BLOCK])
            line.sound(RATE * 9, whole[:BLOCK])  # a gap is no sound of this take
            line.until("taken", samples=len(whole))
        assert practice.session is not None
        run = practice.session.id
    assert np.array_equal(np.concatenate(list(sound_of(kept, run))), whole)
    assert kept.run(run).status == "finished"  # stopping the server closes the run


def test_a_page_opened_anew_shows_the_same_run(kept: Archive) -> None:
    with practising(kept) as (gate, _practice):
        with begun(gate) as line:
            line.ask(do="type", text=SAID)
            line.ask(do="ask", name="start_counting")
            line.ask(do="ask", name="pause")
            line.until("standing", paused=True)
        with opened(gate) as line:
            shown = line.until("everything")
    assert [m["t"] for m in shown["log"]] == ["said", "filed", "said", "filed", "answer", "answer"]
    assert shown["standing"]["paused"] is True
    assert shown["progress"]["entries"] == 2
    assert len(shown["progress"]["stations"]) == len(LEXICON.region_order)
    assert shown["checklist"] == "complete"


def test_one_page_is_listened_to_and_the_other_is_told(kept: Archive) -> None:
    with practising(kept) as (gate, practice), begun(gate) as first, opened(gate) as second:
        listened_to(first)
        end = say(first, 0.5)
        first.until("taken", samples=end)
        listened_to(second, "another-take")
        say(second, 1.0)
        first.sound(end, noise(BLOCK))
        first.until("elsewhere")
        second.until("taken", samples=RATE)
        assert practice.session is not None
        assert practice.session.seconds == pytest.approx(1.5)


def test_a_run_that_broke_off_is_offered_and_gone_on_with(kept: Archive) -> None:
    session = started(kept, SAID)
    session.abandon()
    with practising(kept) as (gate, _), opened(gate) as line:
        ready = line.until("everything", phase="ready")
        assert [(run["id"], run["utterances"]) for run in ready["runs"]] == [(session.id, 2)]
        line.ask(do="go_on_with", run=session.id)
        shown = line.until("everything", phase="running")
        assert shown["run"] == session.id
        assert [m["t"] for m in shown["log"]] == ["said", "filed", "said", "filed", "remark"]
        line.ask(do="go_on_with", run="no such run")
        line.ask(do="type", text="recorder finish")
        line.until("everything", phase="kept")


# ---------------------------------------------------------------------- failures


def test_a_store_that_fails_is_told_and_the_run_gone_on_with(kept: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    with practising(kept) as (gate, practice), begun(gate) as line:
        line.ask(do="type", text=SAID)
        line.until("progress", entries=2)
        assert practice.session is not None

        def full(*said: object) -> None:
            raise StorageError("There is no room left on the disk.")

        monkeypatch.setattr(practice.session.writer, "append", full)
        line.ask(do="type", text="lungs clear")
        broken = line.until("everything", phase="broken")
        assert broken["said"] == "There is no room left on the disk."
        assert kept.run(broken["run"]).status == "interrupted"
        line.ask(do="go_on_with", run=broken["run"])
        line.until("everything", phase="running")
        line.ask(do="type", text="lungs clear")
        line.until("progress", entries=3)


class Slow:
    """Takes its time, and says what it does."""

    def __init__(self) -> None:
        self.asked, self.go_on = threading.Event(), threading.Event()

    def of(self, packs: tuple[str, ...], progress: Progress = silent) -> Hears:
        self.asked.set()
        assert self.go_on.wait(10)
        progress("Compiling the vocabulary")
        return Hears(LEXICON, None, None)


def test_a_page_that_comes_early_is_told_what_it_waits_for(kept: Archive) -> None:
    slow = Slow()
    with running(lambda gate: live_app(gate, Practice(kept, slow), LEXICON)) as gate, opened(gate) as line:
        line.until("phase", phase="preparing")
        assert slow.asked.wait(10)
        slow.go_on.set()
        line.until("phase", said="Compiling the vocabulary")
        line.until("everything", phase="ready")


class Deaf:
    def of(self, packs: tuple[str, ...], progress: Progress = silent) -> Hears:
        raise ModelError("The acoustic model is not on this machine yet.")


def test_without_a_model_words_can_be_typed(kept: Archive) -> None:
    practice = Practice(kept, Deaf())
    with running(lambda gate: live_app(gate, practice, LEXICON)) as gate, opened(gate) as line:
        ready = line.until("everything", phase="ready")
        assert ready["deaf"] == "The acoustic model is not on this machine yet."
        line.ask(do="try", checklist="complete")
        line.ask(do="begin", checklist="complete")
        line.until("everything", phase="running")
        line.ask(do="type", text=SAID)
        line.until("progress", entries=2)


def test_what_cannot_be_done_is_told_and_changes_nothing(kept: Archive) -> None:
    with practising(kept) as (gate, _), opened(gate) as line:
        line.ask(do="begin", checklist="no such list")
        assert "no such checklist" in line.until("refused")["said"]
        line.ask(do="begin", checklist="complete", learner="a" * 121)
        assert "learner" in line.until("refused")["said"]
        line.ask(do="go_on_with", run="zzz")
        assert "There is no run" in line.until("refused")["said"]
        line.ask(do="ask", name="mark")  # no run: nothing to mark
        line.ask(do="begin", checklist="complete")
        line.until("everything", phase="running")
        line.ask(do="ask", name="withdraw_entry", entry="e9")
        assert line.until("answer", id="withdraw_entry")["tone"] == "refused"


# ---------------------------------------------------------------------- takes


@given(st.integers(1, 400), st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), max_size=30))
def test_sound_comes_once_and_in_order_however_it_is_sent(length: int, pieces: list[tuple[int, int]]) -> None:
    whole = noise(length)
    takes = Takes()
    assert takes.claim(TAKE) == 0
    got = []
    for start, size in [*pieces, (0, length)]:
        message = start.to_bytes(HEADER, "little") + whole[start : start + size].tobytes()
        got.append(takes.accept(TAKE, message))
        assert sum(map(len, got)) == takes.taken(TAKE)
    assert np.array_equal(np.concatenate(got), whole)


@pytest.mark.parametrize("name", ["", "short", "UPPER-CASE-1", "x" * 41, "../../../etc", "take\n12345"])
def test_names_that_are_no_takes(name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        Takes().claim(name)


def test_many_takes_are_not_remembered_for_ever() -> None:
    takes = Takes()
    for number in range(200):
        takes.claim(f"take-{number:06}")
    assert len(takes._taken) == 64


# ---------------------------------------------------------------------- the voice


SPOKEN = [
    ("blood pressure 118/76 mmHg, right arm.", "blood pressure 118 over 76 millimeters of mercury, right arm."),
    ("pulse 2+, foot", "pulse 2 plus, foot"),
    ("oxygen saturation 98%", "oxygen saturation 98 percent"),
    ("temperature 36.6 °C", "temperature 36.6 degrees Celsius"),
    ("capillary refill <2 s", "capillary refill less than 2 s"),
    ("oriented x4", "oriented times 4"),
]


@pytest.mark.parametrize(("written", "said"), SPOKEN)
def test_what_is_written_short_is_said_in_full(written: str, said: str) -> None:
    from listener.pages.voice import spoken_form

    assert spoken_form(written) == said


def test_an_answer_is_spoken_where_the_machine_has_a_voice(kept: Archive, tmp_path: Path) -> None:
    import wave

    from listener.pages.voice import can_speak, speak

    with practising(kept) as (gate, _), begun(gate) as line:
        line.ask(do="type", text=SAID + "recorder read back")
        answer = line.until("answer")
        run = kept.run("last").id
        status, headers, _ = asked(gate, "GET", f"/practise/voice/{run}/{answer['number']}", ours(gate))
        for path in (f"{run}/1", f"{run}/999", f"{run[:4]}/{answer['number']}", f"last/{answer['number']}"):
            assert asked(gate, "GET", f"/practise/voice/{path}", ours(gate))[0] == 404
    if not can_speak():
        assert status == 204
        pytest.skip("no espeak-ng on this machine: answers are text alone")
    assert (status, headers["content-type"]) == (200, "audio/wav")
    (tmp_path / "said.wav").write_bytes(speak(answer["text"]) or b"")
    with wave.open(str(tmp_path / "said.wav")) as sound:
        assert 0.5 < sound.getnframes() / sound.getframerate() < 10
