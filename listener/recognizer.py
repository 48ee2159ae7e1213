"""Blocks of sound -> utterances with times and confidence: the wall around the recognition library.

This is the only module that imports it, and late. The library ends the process on some inputs, so every
call is guarded: samples are 16-bit mono of even length by type, a model is proven with a recogniser of its
own (for a model that is not the stock one, first in a child process), and no grammar is ever set.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from listener.errors import HearingError, ModelError
from listener.levels import Block
from listener.model import ModelFolder, cache_folder
from listener.settings import STANDARD, Settings, configured
from listener.sound import RATE
from listener.tidying import Dropped, Restore, Words, tidy
from parser.transcript import Word

#: Samples given to the library at a time, whatever the size of the blocks: results depend on it.
STEP = 1600

_ENGLISH = ("the", "left", "right", "normal", "pain")
_TAIL_S = 1.2
_AFTER_WORD_S = 0.2
_PAUSE_S = 0.5
_LOADING = threading.Lock()


class Recognizer:
    """Hears streams with one model. ``restore`` maps respelled words back (see :class:`listener.tidying.Restore`).

    Making one loads the model, or takes the copy this process has loaded already.
    Raises :class:`ModelError` when the model cannot be used.
    """

    def __init__(self, folder: ModelFolder, settings: Settings = STANDARD, restore: Restore | None = None) -> None:
        self.folder = folder
        self.settings = settings
        self._restore = restore
        self._model = load_model(folder, settings)

    def stream(self, partial: Callable[[str], None] | None = None) -> HearingStream:
        """A new stream, to be fed block by block; ``partial`` is told the words so far, for display only."""
        return HearingStream(Decoder(self._model, self.settings), self.settings, self._restore, partial)

    def utterances(self, blocks: Iterable[Block], partial: Callable[[str], None] | None = None) -> Iterator[Words]:
        """The utterances of a stream of int16 mono blocks at 16 kHz, each as soon as it ends; none is empty.

        Blocks should have an even level: :func:`listener.levels.amplified` for files, ``evened`` for live sound.
        Raises :class:`HearingError` when the library fails.
        """
        stream = self.stream(partial)
        for block in blocks:
            yield from stream.accept(block)
        yield from stream.finish()


class HearingStream:
    """One stream being heard. ``dropped`` lists hesitations and noise taken out; ``seconds`` is its length so far."""

    def __init__(self, decoder: Decoder, settings: Settings = STANDARD, restore: Restore | None = None,
                 partial: Callable[[str], None] | None = None) -> None:
        self.dropped = Dropped()
        self._decoder = decoder
        self._settings = settings
        self._restore = restore
        self._partial = partial
        self._shown = ""

    @property
    def seconds(self) -> float:
        return self._decoder.seconds

    def accept(self, block: Block) -> list[Words]:
        """Hear a block; the utterances that ended in it."""
        ended = self._tidied(self._decoder.accept(block))
        if self._partial is not None:
            self._tell(self._partial)
        return ended

    def finish(self) -> list[Words]:
        """Hear the rest; the last utterances. The stream takes no more blocks."""
        return self._tidied(self._decoder.finish())

    def _tidied(self, raw: list[Words]) -> list[Words]:
        tidied = (tidy(words, self.dropped, self._restore, self._settings) for words in raw)
        return [words for words in tidied if words]

    def _tell(self, partial: Callable[[str], None]) -> None:
        words = tuple(Word(text, text) for text in self._decoder.partial().split())
        words = self._restore.restore(words) if self._restore is not None and words else words
        text = " ".join(word.text for word in words if word.text not in self._settings.fillers)
        if text != self._shown:
            self._shown = text
            partial(text)


class Decoder:
    """One stream through the library: blocks -> raw utterances, as the recogniser spells them.

    Blocks are cut anew to steps of one size, so the words do not depend on how the sound came. At a pause
    now and then a fresh recogniser takes over; it hears the pause again, so that no word falls between.
    """

    def __init__(self, model: Any, settings: Settings = STANDARD) -> None:
        self._model = model
        self._settings = settings
        self._inner = _new_recognizer(model)
        self._began = 0
        self._samples = 0
        self._last_end = 0.0
        self._waiting = np.zeros(0, dtype=np.int16)
        self._tail = np.zeros(0, dtype=np.int16)
        self._finished = False
        self._noise = np.random.default_rng(0)

    @property
    def seconds(self) -> float:
        """Length of the stream so far."""
        return (self._samples + len(self._waiting)) / RATE

    def accept(self, block: Block) -> list[Words]:
        """Hear a block (int16, one dimension); the utterances that ended in it, none of them empty."""
        if self._finished:
            raise HearingError("The stream has been finished; it takes no more sound.")
        if block.dtype != np.int16 or block.ndim != 1:
            raise HearingError(f"Sound must come as one row of 16-bit samples, not {block.ndim} of {block.dtype}.")
        waiting = np.concatenate([self._waiting, block])
        full = len(waiting) - len(waiting) % STEP
        self._waiting = waiting[full:]
        ended = [self._step(waiting[at : at + STEP]) for at in range(0, full, STEP)]
        return [words for words in ended if words]

    def finish(self) -> list[Words]:
        """Hear what is left. Raises :class:`HearingError` when the library fails."""
        if self._finished:
            return []
        ended = self._step(self._waiting) if len(self._waiting) else ()
        self._waiting = self._waiting[:0]
        self._finished = True
        last = self._words(self._inner.FinalResult())
        return [words for words in (ended, last) if words]

    def partial(self) -> str:
        """The words of the utterance that has not ended, as they seem now."""
        if self._finished:
            return ""
        return str(json.loads(self._inner.PartialResult()).get("partial", ""))

    def _dithered(self, samples: Block) -> Block:
        """The samples with noise of one step, as the acoustic model was trained; the same noise in every run."""
        noise = np.rint(self._noise.normal(size=len(samples))).astype(np.int32)
        dithered: Block = np.clip(samples + noise, -32768, 32767).astype(np.int16)
        return dithered

    def _step(self, samples: Block) -> Words:
        samples = self._dithered(samples)
        try:
            ended = self._inner.AcceptWaveform(samples.astype("<i2").tobytes())
        except Exception as error:  # the library raises nothing more special
            raise HearingError(f"The recogniser failed after {self._samples / RATE:.1f} s of sound.") from error
        self._samples += len(samples)
        self._tail = np.concatenate([self._tail, samples])[-round(_TAIL_S * RATE) :]
        if not ended:
            return ()
        words = self._words(self._inner.Result())
        self._refresh(words)
        return words

    def _words(self, answer: str) -> Words:
        offset, end = self._began / RATE, self._samples / RATE
        words = []
        for said in json.loads(answer).get("result", ()):
            start = min(max(offset + float(said["start"]), self._last_end), end)
            self._last_end = min(max(offset + float(said["end"]), start), end)
            confidence = min(1.0, max(0.0, float(said.get("conf", 0.0))))
            text = str(said["word"])
            words.append(Word(text, text, round(start, 3), round(self._last_end, 3), confidence))
        return tuple(words)

    def _refresh(self, words: Words) -> None:
        """Take a fresh recogniser if it is time and there is a pause; it starts within the pause."""
        now = self._samples / RATE
        quiet = now - self._last_end
        if now - self._began / RATE < self._settings.refresh_s or (words and quiet < _PAUSE_S):
            return
        again = self._tail[-round(min(_TAIL_S, quiet - _AFTER_WORD_S) * RATE) :]
        self._inner = _new_recognizer(self._model)
        self._began = self._samples - len(again)
        self._inner.AcceptWaveform(again.astype("<i2").tobytes())


def load_model(folder: ModelFolder, settings: Settings = STANDARD) -> Any:
    """The library's model for a folder, loaded once in a process. Raises :class:`ModelError`."""
    if not folder.stock:
        _prove_in_child(folder)
    with _LOADING:
        return _load(configured(folder, settings), folder.fingerprint)


@lru_cache(maxsize=2)
def _load(path: Path, fingerprint: str) -> Any:
    return open_model(path)


def open_model(path: Path) -> Any:
    """Load and prove a model in this process. Raises :class:`ModelError`; a damaged file may end the process."""
    try:
        import vosk
    except (ImportError, OSError, TypeError) as error:
        raise ModelError(f"The recognition library (vosk) does not work on this machine: {error}.") from error
    vosk.SetLogLevel(-1)
    try:
        model = vosk.Model(str(path))
        _new_recognizer(model)
    except Exception as error:  # the library raises nothing more special
        why = "a file in it is damaged or of another kind"
        raise ModelError(f"The model in {path} cannot be loaded: {why}.") from error
    if sum(model.vosk_model_find_word(word) < 0 for word in _ENGLISH) > 2:
        raise ModelError(f"The model in {path} does not know English words. Name an English model.")
    return model


def try_out(model: Any) -> None:
    """Decode a second of noise: a graph damaged in the middle fails here, in a child process, and not in a run."""
    decoder = Decoder(model)
    decoder.accept((np.random.default_rng(1).normal(size=RATE) * 3000).astype(np.int16))
    decoder.finish()


def _new_recognizer(model: Any) -> Any:
    import vosk

    recognizer = vosk.KaldiRecognizer(model, RATE)
    recognizer.SetWords(True)
    return recognizer


def _prove_in_child(folder: ModelFolder) -> None:
    """Load a foreign model in a process of its own, once for each state of its files."""
    proven = cache_folder() / "proven" / folder.fingerprint
    if proven.exists():
        return
    command = [sys.executable, "-m", "listener.isolation", "prove", str(folder.path.resolve())]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    if done.returncode:
        said = done.stdout.decode("utf-8", "replace").strip()
        if done.returncode != ModelError.exit_code or not said:
            said = f"The model in {folder.path} makes the recogniser crash: a file in it is damaged or of another kind."
        raise ModelError(said)
    try:
        proven.parent.mkdir(parents=True, exist_ok=True)
        proven.touch()
    except OSError:
        return
