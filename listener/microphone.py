"""The microphone as a source of sound. Needs the optional package sounddevice."""

from __future__ import annotations

import queue
from collections.abc import Iterator
from typing import Any

import numpy as np

from listener.errors import SoundError
from listener.levels import Block
from listener.sound import RATE, RAW_BLOCK

_SILENT_FOR_S = 3.0


class Microphone:
    """The default microphone, or the one whose name or number is given; blocks as they come.

    ``lost`` counts blocks that the machine was too slow to take.
    """

    repeatable = False

    def __init__(self, device: str | None = None) -> None:
        self.name = "microphone"
        self.lost = 0
        self._device: str | int | None = int(device) if device and device.isdigit() else device
        self._blocks: queue.SimpleQueue[Block] = queue.SimpleQueue()

    def blocks(self) -> Iterator[Block]:
        """int16 mono at 16 kHz, shape (RAW_BLOCK,). Raises :class:`SoundError`, also when it is unplugged."""
        sounddevice = _library()
        try:
            stream = sounddevice.InputStream(
                samplerate=RATE,
                channels=1,
                dtype="int16",
                blocksize=RAW_BLOCK,
                device=self._device,
                callback=self._take,
            )
            with stream:
                while True:
                    yield self._blocks.get(timeout=_SILENT_FOR_S)
        except queue.Empty:
            raise SoundError("The microphone stopped giving sound. Is it plugged in?") from None
        except (sounddevice.PortAudioError, ValueError) as error:
            raise SoundError(f"The microphone cannot be used: {error}. Choose another with --device.") from None

    def _take(self, samples: Any, frames: int, time: Any, status: Any) -> None:
        self.lost += bool(status)
        self._blocks.put(np.array(samples[:, 0], dtype=np.int16))


def _library() -> Any:
    try:
        import sounddevice
    except ImportError:
        what = "The microphone needs one more package. Install it with: pip install 'crownsole[microphone]'"
        raise SoundError(what) from None
    except OSError:
        what = "The microphone needs the system's PortAudio library (on Debian: apt install libportaudio2)."
        raise SoundError(what) from None
    return sounddevice
