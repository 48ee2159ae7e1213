"""Decoding: every common kind of file gives the same sound; every bad one a sentence or a remark."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listener.errors import SoundError
from listener.levels import Loudness, RunningGain, amplified, gain_of
from listener.sound import BLOCK, RATE, RawSound, SoundFacts, open_sound
from tests.listener.sounds import cut, sixteen, speech_like, tone, write_as, write_video, write_wav


def hear(path: Path) -> tuple[np.ndarray, SoundFacts]:
    with open_sound(path) as sound:
        blocks = list(sound.blocks())
        assert all(block.dtype == np.int16 and len(block) == BLOCK for block in blocks[:-1])
        return np.concatenate(blocks), sound.facts()


def strongest_hz(samples: np.ndarray) -> float:
    return float(np.argmax(np.abs(np.fft.rfft(samples)))) * RATE / len(samples)


@pytest.mark.parametrize(("rate", "channels", "width"), [
    (16000, 1, 2), (8000, 1, 2), (44100, 2, 2), (48000, 1, 3), (48000, 2, 3), (11025, 1, 2), (96000, 1, 3),
])
def test_wav_of_any_shape_becomes_16_khz_mono(tmp_path: Path, rate: int, channels: int, width: int) -> None:
    path = write_wav(tmp_path / "a.wav", tone(1.0, 440, rate), rate, channels, width)
    samples, facts = hear(path)
    assert len(samples) == pytest.approx(RATE, abs=RATE // 100)
    assert strongest_hz(samples) == pytest.approx(440, abs=2)
    assert (facts.rate_hz, facts.channels, facts.truncated, facts.remarks) == (rate, channels, False, ())
    if channels == 1:
        assert facts.peak == pytest.approx(0.4, abs=0.01)


CODECS = [
    ("a.flac", "flac", 16000), ("a.ogg", "libopus", 48000), ("a.mp3", "libmp3lame", 44100), ("a.m4a", "aac", 44100),
    ("a.webm", "libopus", 48000), ("a.aiff", "pcm_s16be", 16000), ("a.mkv", "libopus", 48000), ("a.aac", "aac", 44100),
]
CUT = [("a.wav", "pcm_s16le", 16000), *(kind for kind in CODECS if kind[0] != "a.m4a")]


@pytest.mark.parametrize(("name", "codec", "rate"), CODECS)
def test_common_formats(tmp_path: Path, name: str, codec: str, rate: int) -> None:
    samples, facts = hear(write_as(tmp_path / name, tone(3.0, 500, rate), codec, rate))
    assert facts.duration_s == pytest.approx(3.0, abs=0.08)
    assert strongest_hz(samples) == pytest.approx(500, abs=2)
    assert not facts.truncated


@pytest.mark.parametrize(("name", "codec", "rate"), CUT)
@pytest.mark.parametrize("share", [0.33, 0.7])
def test_truncated_file_keeps_what_it_has(tmp_path: Path, name: str, codec: str, rate: int, share: float) -> None:
    whole = write_as(tmp_path / name, speech_like(10.0, rate), codec, rate)
    facts = hear(cut(whole, share))[1]
    assert facts.truncated
    assert 10 * share - 2 < facts.duration_s < 10 * share + 1
    assert facts.remarks[0].startswith("The sound breaks off after")


def bad(folder: Path) -> dict[str, Path]:
    names = ("gone.wav", "empty.wav", "notes.txt", "noise.wav", "list.m3u8", "head.wav")
    files = {name: folder / name for name in names}
    files["folder"] = folder
    files["empty.wav"].touch()
    files["notes.txt"].write_text("Lungs clear bilaterally.\n")
    files["noise.wav"].write_bytes(np.random.default_rng(0).bytes(5000))
    write_wav(folder / "real.wav", tone(1.0))
    files["list.m3u8"].write_text(f"#EXTM3U\n#EXTINF:1,\n{folder / 'real.wav'}\n")
    files["head.wav"].write_bytes((folder / "real.wav").read_bytes()[:44])
    files["silent.mp4"] = write_video(folder / "silent.mp4")
    files["cut.m4a"] = cut(write_as(folder / "a.m4a", tone(3.0, 500, 44100), "aac", 44100), 0.5)
    return files


@pytest.mark.parametrize(("name", "sentence"), [
    ("gone.wav", "There is no file"), ("folder", "is a folder"), ("empty.wav", "is empty"),
    ("notes.txt", "is text, not sound. To read a transcript: crownsole read notes.txt"),
    ("noise.wav", "is not a sound or video file"), ("list.m3u8", "is text, not sound"),
    ("head.wav", "no sound in it could be decoded"), ("silent.mp4", "a video without a sound track"),
    ("cut.m4a", "cut off or damaged"),
])
def test_bad_input_is_told_in_one_sentence(tmp_path: Path, name: str, sentence: str) -> None:
    with pytest.raises(SoundError, match=sentence) as told:
        hear(bad(tmp_path)[name])
    assert told.value.exit_code == 3
    assert "\n" not in str(told.value)


def test_silence_is_a_remark(tmp_path: Path) -> None:
    facts = hear(write_wav(tmp_path / "a.wav", np.zeros(RATE)))[1]
    assert facts.silent
    assert facts.remarks == ("There is nothing but silence in the sound.",)


def test_very_quiet_and_clipped_sound_are_remarked(tmp_path: Path) -> None:
    quiet = hear(write_wav(tmp_path / "q.wav", speech_like(5.0, peak=0.01)))[1]
    assert "very quiet" in quiet.remarks[0]
    assert quiet.gain == pytest.approx(0.5 / quiet.level)
    clipped = hear(write_wav(tmp_path / "c.wav", np.clip(speech_like(5.0, peak=8.0), -1, 1)))[1]
    assert "clipped" in clipped.remarks[0]
    for fine in (speech_like(5.0, peak=0.99), tone(5.0, peak=0.99)):
        assert hear(write_wav(tmp_path / "f.wav", fine))[1].remarks == ()


class Trickle(io.RawIOBase):
    """A pipe that gives what it has, in odd pieces."""

    def __init__(self, data: bytes, sizes: list[int]) -> None:
        self.data, self.sizes, self.turn = data, sizes, 0

    def read(self, size: int = -1) -> bytes:
        self.turn += 1
        take = min(size, self.sizes[self.turn % len(self.sizes)])
        piece, self.data = self.data[:take], self.data[take:]
        return piece


@given(st.lists(st.integers(1, 5000), min_size=1, max_size=5), st.integers(0, 9001))
@settings(max_examples=40, deadline=None)
def test_raw_samples_survive_any_cutting(sizes: list[int], count: int) -> None:
    samples = np.random.default_rng(count).integers(-32768, 32767, size=count, dtype=np.int16)
    sound = RawSound(Trickle(samples.tobytes(), sizes))  # type: ignore[arg-type]
    heard = np.concatenate([*sound.blocks(), np.zeros(0, np.int16)])
    assert np.array_equal(heard, samples)
    assert sound.facts().duration_s == count / RATE
    assert not sound.facts().truncated


def test_raw_samples_of_another_rate_and_a_lone_byte() -> None:
    sound = RawSound(io.BytesIO(sixteen(tone(1.0, 440, 48000)).tobytes() + b"\1"), rate=48000)
    samples = np.concatenate(list(sound.blocks()))
    assert strongest_hz(samples) == pytest.approx(440, abs=2)
    assert sound.facts().truncated


@given(st.floats(0.0001, 1.0))
@settings(max_examples=30, deadline=None)
def test_gain_never_lowers_and_has_a_limit(peak: float) -> None:
    loudness = Loudness()
    block = sixteen(speech_like(1.0, peak=peak))
    loudness.add(block)
    gain = gain_of(loudness.level)
    assert 1.0 <= gain <= 200.0
    assert loudness.level == pytest.approx(float(np.quantile(np.abs(block.astype(int)), 0.999)) / 32768, abs=2e-3)
    even = Loudness()
    even.add(amplified(block, gain))
    assert gain in (1.0, 200.0) or even.level == pytest.approx(0.5, rel=0.05)


@pytest.mark.parametrize("peak", [0.008, 0.02, 0.2, 0.9])
def test_running_gain_reaches_the_level_within_seconds(peak: float) -> None:
    gain, late = RunningGain(), Loudness()
    sound = sixteen(speech_like(12.0, peak=peak))
    for at in range(0, len(sound), 1600):
        block = gain.apply(sound[at : at + 1600])
        if at > 6 * RATE:
            late.add(block)
    assert 0.25 < late.level < 1.0


def test_silence_does_not_raise_the_running_gain() -> None:
    gain = RunningGain()
    rng = np.random.default_rng(0)
    hiss = [rng.integers(-3, 4, size=1600).astype(np.int16) for _ in range(600)]
    assert max(int(np.abs(gain.apply(block)).max()) for block in hiss) < 20
