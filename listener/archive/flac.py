"""Sound of a segment to a FLAC file in memory, and back.

The head of the file is written here, as RFC 9639 section 8 lays it out: the library's own muxer adds 8 kB of
padding to every half second.
"""

from __future__ import annotations

import hashlib
import io

import numpy as np

from listener.errors import SoundError
from listener.levels import Block
from listener.sound import RATE

#: Samples of one segment at most: one second.
LONGEST = RATE


def encoded(block: Block) -> bytes:
    """A FLAC file of int16 mono samples at 16 kHz, shape (n,), 1 <= n <= LONGEST. Raises :class:`ValueError`."""
    import av

    if block.dtype != np.int16 or block.ndim != 1 or not 1 <= len(block) <= LONGEST:
        raise ValueError(f"a segment is 1 to {LONGEST} samples of 16 bits, not {block.shape} of {block.dtype}")
    codec = av.CodecContext.create("flac", "w")
    codec.sample_rate = RATE
    codec.format = "s16"
    codec.layout = "mono"
    codec.open()
    size = codec.frame_size
    frames = []
    for at in range(0, len(block), size):
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(block[at : at + size]).reshape(1, -1), format="s16", layout="mono"
        )
        frame.sample_rate = RATE
        frame.pts = at
        frames += [bytes(packet) for packet in codec.encode(frame)]
    frames += [bytes(packet) for packet in codec.encode(None)]
    return b"fLaC" + b"\x80\x00\x00\x22" + _stream_info(block, size) + b"".join(frames)


def decoded(data: bytes) -> Block:
    """The samples of a segment. Raises :class:`SoundError` when they are not what the file itself states."""
    import av

    try:
        with av.open(io.BytesIO(data), "r", format="flac") as source:
            pieces = [frame.to_ndarray().reshape(-1) for frame in source.decode(audio=0)]
    except (av.error.FFmpegError, IndexError, ValueError) as error:
        raise SoundError("A piece of the stored sound is damaged.") from error
    block: Block = np.concatenate(pieces).astype(np.int16) if pieces else np.zeros(0, dtype=np.int16)
    if (
        len(block) > LONGEST
        or data[26:42] != hashlib.md5(block.astype("<i2").tobytes(), usedforsecurity=False).digest()
    ):
        raise SoundError("A piece of the stored sound is damaged.")
    return block


def _stream_info(block: Block, size: int) -> bytes:
    """STREAMINFO of RFC 9639 section 8.2: block sizes, frame sizes (unknown), rate, channels, bits, length, MD5."""
    packed = RATE << 44 | (1 - 1) << 41 | (16 - 1) << 36 | len(block)
    md5 = hashlib.md5(block.astype("<i2").tobytes(), usedforsecurity=False).digest()
    return size.to_bytes(2, "big") * 2 + bytes(6) + packed.to_bytes(8, "big") + md5
