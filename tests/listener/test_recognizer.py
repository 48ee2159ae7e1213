"""Hearing: tidying of words without a model; streams, times and crashes with the stock model."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from listener.errors import HearingError, ModelError
from listener.hear import hear_file
from listener.levels import Block
from listener.model import given_model
from listener.recognizer import Recognizer
from listener.settings import Settings, configured
from listener.sound import RATE, open_sound
from listener.tidying import Dropped, Words, tidy
from parser.transcript import Word
from tests.listener.models import copy_of_stock, stock
from tests.listener.sounds import cut, write_wav
from tests.shared import SHARED, needs_shared


def said(text: str, seconds: float = 0.3, sure: float = 1.0) -> Words:
    return tuple(Word(word, word, at * seconds, (at + 1) * seconds, sure) for at, word in enumerate(text.split()))


@pytest.mark.parametrize(("heard", "text", "heards"), [
    ("uh blood um pressure", "blood pressure", ["uh blood", "um pressure"]),
    ("lungs clear uh", "lungs clear", ["lungs", "clear uh"]),
    ("um er no edema", "no edema", ["um er no", "edema"]),
    ("one oh two over sixty", "one oh two over sixty", ["one", "oh", "two", "over", "sixty"]),
    ("say ah", "say ah", ["say", "ah"]),
    ("pupils three mm", "pupils three mm", ["pupils", "three", "mm"]),
    ("mm pupils equal", "pupils equal", ["mm pupils", "equal"]),
    ("uh um", "", []),
])
def test_hesitations_leave_the_text_and_stay_in_heard(heard: str, text: str, heards: list[str]) -> None:
    words = tidy(said(heard), Dropped())
    assert " ".join(word.text for word in words) == text
    assert [word.heard for word in words] == heards


@pytest.mark.parametrize(("words", "kept"), [
    (said("huh", 8.0, 0.6), False), (said("the", 0.2, 0.5), False), (said("hey", 14.0, 1.0), False),
    (said("no", 0.2, 0.5), True), (said("normal", 0.6, 0.4), True), (said("huh okay", 0.2, 0.5), True),
    (said("this", 0.3, 1.0), True),
])
def test_words_made_of_noise_are_dropped_and_listed(words: Words, kept: bool) -> None:
    dropped = Dropped()
    assert bool(tidy(words, dropped)) is kept
    assert dropped.noise == (not kept)
    assert kept or tuple(dropped.last) == words


class Bruits:
    def restore(self, words: Words) -> Words:
        texts = [word.text for word in words]
        if "brew" not in texts:
            return words
        at = texts.index("brew")
        first, last = words[at], words[at + 1]
        return (*words[:at], Word("bruits", "brew ease", first.start, last.end, first.confidence), *words[at + 2 :])


def test_respelled_words_are_restored_first() -> None:
    words = tidy(said("no brew ease uh heard"), Dropped(), Bruits())
    assert [(word.text, word.heard) for word in words] == [("no", "no"), ("bruits", "brew ease"), ("heard", "uh heard")]


def speech(count: int = 2) -> Block:
    """Clips of one reader (LJ Speech, public domain), each followed by a pause."""
    assert SHARED is not None
    pieces = []
    for path in sorted((SHARED / "data/speech/audio/ljspeech").glob("*.flac"))[:count]:
        with open_sound(path) as sound:
            pieces += [*sound.blocks(), np.zeros(RATE, dtype=np.int16)]
    return np.concatenate(pieces)


def pieces_of(sound: Block, size: int) -> list[Block]:
    return [sound[at : at + size] for at in range(0, len(sound), size)]


@needs_shared
@pytest.mark.model
def test_words_do_not_depend_on_how_the_sound_is_cut() -> None:
    recognizer, sound = Recognizer(stock()), speech(2)
    whole = list(recognizer.utterances([sound]))
    assert sum(len(words) for words in whole) > 15
    for size in (997, 4001):
        assert list(recognizer.utterances(pieces_of(sound, size))) == whole


@needs_shared
@pytest.mark.model
def test_times_rise_and_stay_within_the_sound_across_fresh_recognisers() -> None:
    sound = speech(3)
    plain = [w.text for words in Recognizer(stock()).utterances([sound]) for w in words]
    refreshed = [w for words in Recognizer(stock(), Settings(refresh_s=3.0)).utterances([sound]) for w in words]
    edges = [edge for word in refreshed for edge in (word.start, word.end)]
    assert edges == sorted(edges)
    assert edges[-1] <= len(sound) / RATE
    assert all(0.0 <= word.confidence <= 1.0 for word in refreshed)
    # A fresh recogniser starts without what the old one learnt of the voice, so single words may differ; none is lost.
    assert abs(len(refreshed) - len(plain)) <= 0.1 * len(plain)


@needs_shared
@pytest.mark.model
def test_partial_words_are_told_while_an_utterance_lasts() -> None:
    told: list[str] = []
    utterances = list(Recognizer(stock()).utterances(pieces_of(speech(1), 1600), told.append))
    assert len([text for text in told if text]) > 3
    assert utterances[0][0].text in {text.split()[0] for text in told if text}


@needs_shared
@pytest.mark.model
@pytest.mark.parametrize("isolate", [False, True])
def test_file_that_breaks_off_keeps_its_words(tmp_path: Path, isolate: bool) -> None:
    path = cut(write_wav(tmp_path / "run.wav", speech(2) / 32768), 0.6)
    transcript = hear_file(path, stock(), isolate=isolate)
    assert len(transcript.words) > 8
    assert transcript.remarks[0].startswith("The sound breaks off")
    assert transcript.text[slice(*transcript.words[3].chars)] == transcript.words[3].text


@pytest.mark.model
def test_silence_and_noise_give_an_empty_run_with_a_remark(tmp_path: Path) -> None:
    silence = hear_file(write_wav(tmp_path / "s.wav", np.zeros(RATE)), stock())
    assert (silence.utterances, silence.duration_s) == ((), 1.0)
    assert silence.remarks == ("There is nothing but silence in the sound.",)
    hiss = np.random.default_rng(0).normal(size=4 * RATE) * 0.02
    noise = hear_file(write_wav(tmp_path / "n.wav", hiss), stock())
    assert noise.utterances == ()
    assert noise.remarks[-1] == "No words were recognised in the sound."


@pytest.mark.model
def test_only_rows_of_16_bits_reach_the_library() -> None:
    stream = Recognizer(stock()).stream()
    for block in (np.zeros(800, dtype=np.float32), np.zeros((2, 800), dtype=np.int16)):
        with pytest.raises(HearingError, match="one row of 16-bit samples"):
            stream.accept(block)  # type: ignore[arg-type]
    assert stream.accept(np.zeros(0, dtype=np.int16)) == []
    assert stream.finish() == stream.finish() == []
    with pytest.raises(HearingError, match="finished"):
        stream.accept(np.zeros(800, dtype=np.int16))


@pytest.mark.model
@pytest.mark.parametrize(("name", "keep"), [("graph/Gr.fst", 0.5), ("graph/HCLr.fst", 0.5), ("am/final.mdl", 0.5)])
def test_damaged_model_is_an_error_and_not_a_crash(tmp_path: Path, name: str, keep: float) -> None:
    folder = copy_of_stock(tmp_path)
    os.truncate(folder / name, int((folder / name).stat().st_size * keep))
    with pytest.raises(ModelError, match=r"cannot be loaded|crash"):
        Recognizer(given_model(folder))


@pytest.mark.model
def test_settings_go_into_a_copy_and_the_model_is_untouched() -> None:
    before = (stock().path / "conf/model.conf").read_text()
    folder = configured(stock(), Settings(lattice_beam=7.5))
    assert "--lattice-beam=7.5" in (folder / "conf/model.conf").read_text()
    assert "--beam=10.0" in (folder / "conf/model.conf").read_text()
    assert (folder / "graph/Gr.fst").stat().st_size == (stock().path / "graph/Gr.fst").stat().st_size
    assert (stock().path / "conf/model.conf").read_text() == before
