"""Development dictation as sound: lines of tests/data/dictation, spoken by several voices, clean or in noise.

Sound is made on the fly by the shared ``speech/synthesise`` and kept in the user's cache folder,
never in the repository. Noise, babble and rooms come from the shared ``data/speech``.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import platformdirs

from tests.shared import SHARED

LINES = Path(__file__).parents[1] / "data" / "dictation"
RATE = 16_000

#: The voices differ in engine, accent and sex; those that need an extra environment are taken when it is named.
VOICES = ("flite:rms", "espeak:en-us", "flite:slt", "festival:cmu_us_slt_arctic_hts", "flite:awb", "espeak:en-gb-x-rp")
NEURAL = ("piper:joe", "hibari:heart")

Sound = npt.NDArray[np.int16]


@dataclass(frozen=True)
class Spoken:
    """One line said by one voice. ``hand`` is the file it comes from."""

    text: str
    hand: str
    voice: str
    sound: Sound


#: Hands whose lines are kept for reporting; nothing is tuned on them.
REPORTING = "reporting_"


def dictated_lines(folder: Path = LINES, half: str | None = None) -> list[tuple[str, str]]:
    """(hand, line) of every development line, or of the "tuning" or "reporting" half of the hands."""
    return [
        (path.stem, line.strip())
        for path in sorted(folder.glob("*.txt"))
        if half is None or path.stem.startswith(REPORTING) == (half == "reporting")
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.strip() and not line.startswith("#")
    ]


def voices() -> tuple[str, ...]:
    """The voices at hand; CROWNSOLE_VOICES names a Python that has the neural ones."""
    return VOICES + NEURAL if os.environ.get("CROWNSOLE_VOICES") else VOICES


def spoken_lines(each: int = 1, limit: int | None = None, folder: Path = LINES,
                 half: str | None = None) -> Iterator[Spoken]:
    """Every line by ``each`` of the voices in turn."""
    named = voices()
    for i, (hand, line) in enumerate(dictated_lines(folder, half)[:limit]):
        for k in range(each):
            voice = named[(i + k * 3) % len(named)]
            yield Spoken(line, hand, voice, said(voice, line))


def said(voice: str, text: str) -> Sound:
    """``text`` in ``voice``, 16 kHz; made once."""
    if SHARED is None:
        raise RuntimeError("the shared development data is needed: set CROWNSOLE_SHARED")
    folder = Path(platformdirs.user_cache_dir("crownsole-bench"))
    path = folder / voice.replace(":", "-") / (hashlib.sha256(text.encode()).hexdigest()[:20] + ".wav")
    if not path.is_file():
        path.parent.mkdir(parents=True, exist_ok=True)
        partial = path.with_suffix(f".{os.getpid()}.wav")
        python = os.environ.get("CROWNSOLE_VOICES", sys.executable)
        subprocess.run([str(SHARED / "speech" / "synthesise"), voice, str(partial), text], check=True,
                       env={**os.environ, "PY": python}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        partial.replace(path)
    return read_sound(path)


def read_sound(path: Path) -> Sound:
    """Any sound file as 16 kHz mono."""
    with av.open(str(path)) as container:
        resampler = av.AudioResampler(format="s16", layout="mono", rate=RATE)
        frames = [frame for packet in container.decode(audio=0) for frame in resampler.resample(packet)]
        frames += resampler.resample(None)
    return np.concatenate([frame.to_ndarray().reshape(-1) for frame in frames]).astype(np.int16)


@lru_cache(maxsize=16)
def _shared_sound(name: str) -> Sound:
    assert SHARED is not None
    return read_sound(SHARED / "data" / "speech" / name)


BABBLE = ("babble/babble_16spk.flac",)
TALKERS = ("babble/babble_8spk.flac", "babble/babble_4spk.flac")
HOUSEHOLD = ("speech_commands_bg/doing_the_dishes.flac", "speech_commands_bg/running_tap.flac",
             "speech_commands_bg/exercise_bike.flac", "speech_commands_bg/pink_noise.flac")
ROOMS = ("rir/sb_rir1.flac", "rir/sb_rir2.flac", "rir/sb_rir4.flac", "rir/am_impulse_response_0.flac")


def in_noise(sound: Sound, noises: tuple[str, ...], decibels: float, seed: int) -> Sound:
    """``sound`` with one of ``noises`` under it, ``decibels`` below by power over the speech."""
    rng = np.random.default_rng(seed)
    noise = _shared_sound(noises[int(rng.integers(len(noises)))]).astype(np.float64)
    start = int(rng.integers(max(1, len(noise) - len(sound))))
    piece = np.resize(noise[start : start + len(sound)], len(sound))
    speech = sound.astype(np.float64)
    loud = speech[np.abs(speech) > 0.02 * np.abs(speech).max()]
    gain = np.sqrt(np.mean(loud**2) / (np.mean(piece**2) + 1e-9)) * 10 ** (-decibels / 20)
    mixed = speech + gain * piece
    return _fitted(mixed)


def in_room(sound: Sound, seed: int) -> Sound:
    """``sound`` as heard in one of the shared rooms."""
    response = _shared_sound(ROOMS[seed % len(ROOMS)]).astype(np.float64)
    size = len(sound) + len(response)
    spectrum = np.fft.rfft(sound.astype(np.float64), size) * np.fft.rfft(response / np.abs(response).max(), size)
    return _fitted(np.fft.irfft(spectrum, size)[: len(sound) + RATE // 4])


def _fitted(sound: npt.NDArray[np.float64]) -> Sound:
    peak = np.abs(sound).max()
    return (sound * (min(1.0, 30_000 / peak) if peak > 0 else 1.0)).astype(np.int16)


def in_condition(sound: Sound, condition: str, seed: int) -> Sound:
    """"clean", "room", or "babble 10", "household 15", "room babble 20" (noise and decibels)."""
    words = condition.split()
    if words[0] == "room":
        sound, words = in_room(sound, seed), words[1:]
    if words and words[0] != "clean":
        noises = {"babble": BABBLE, "talkers": TALKERS, "household": HOUSEHOLD}[words[0]]
        sound = in_noise(sound, noises, float(words[1]), seed)
    return sound
