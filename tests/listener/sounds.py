"""Sound made at test time: tones, noise and files of them."""

from __future__ import annotations

import wave
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt

from listener.levels import Block

Floats = npt.NDArray[np.float64]


def tone(seconds: float, hz: float = 440.0, rate: int = 16000, peak: float = 0.4) -> Floats:
    return peak * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)


def speech_like(seconds: float, rate: int = 16000, peak: float = 0.5, seed: int = 0) -> Floats:
    """Noise in bursts with a spread of loudness, as speech has."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate)
    bursts = np.repeat(rng.gamma(1.0, 1.0, size=count // 1600 + 1), 1600)[:count]
    sound = rng.normal(size=count) * bursts
    return peak * sound / np.abs(sound).max()


def sixteen(sound: Floats) -> Block:
    return np.clip(np.rint(sound * 32768), -32768, 32767).astype(np.int16)


def write_wav(path: Path, sound: Floats, rate: int = 16000, channels: int = 1, width: int = 2) -> Path:
    """``sound`` in 16 or 24 bits; with two channels the right one is the left reversed in time."""
    sides = np.stack([sound, sound[::-1]][:channels], axis=1).reshape(-1)
    scaled = np.clip(np.rint(sides * 2 ** (8 * width - 1)), -(2 ** (8 * width - 1)), 2 ** (8 * width - 1) - 1)
    data = scaled.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :width].tobytes()
    with wave.open(str(path), "wb") as target:
        target.setnchannels(channels)
        target.setsampwidth(width)
        target.setframerate(rate)
        target.writeframes(data)
    return path


def write_as(path: Path, sound: Floats, codec: str, rate: int) -> Path:
    """Encode ``sound`` (at ``rate``) with a codec, in the container the suffix names."""
    with av.open(str(path), "w") as target:
        track = target.add_stream(codec, rate=rate)
        track.layout = "mono"
        source = av.AudioFrame.from_ndarray(sixteen(sound).reshape(1, -1), format="s16", layout="mono")
        source.sample_rate = rate
        even = av.AudioResampler(format=track.format, layout="mono", rate=rate)
        for frame in [*even.resample(source), *even.resample(None)]:
            target.mux(track.encode(frame))
        target.mux(track.encode(None))
    return path


def cut(path: Path, share: float) -> Path:
    """A copy that breaks off after a share of the bytes."""
    target = path.with_name(f"cut_{path.name}")
    data = path.read_bytes()
    target.write_bytes(data[: int(len(data) * share)])
    return target


def write_video(path: Path) -> Path:
    """A second of black pictures without sound."""
    with av.open(str(path), "w") as target:
        track = target.add_stream("mpeg4", rate=10)
        track.width = track.height = 64
        track.pix_fmt = "yuv420p"
        for _ in range(10):
            target.mux(track.encode(av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")))
        target.mux(track.encode(None))
    return path
