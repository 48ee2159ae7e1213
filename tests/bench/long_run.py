"""A live run of many hours, faster than real time: memory, speed of filing, size on the disk, nothing lost.

Sound of noise and words of a script stand in for microphone and recogniser (whose own memory is measured with it).

    python -m tests.bench.long_run [--hours 8]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from lexicon import load
from listener.archive import open_archive
from listener.archive.reading import faults, read_again
from listener.session import Session
from listener.sound import RATE
from parser.transcript import Word
from tests.bench.reliability import LINES, warm

_EVERY_S = 5


def memory_mb() -> float:
    """Resident memory of this process (Linux)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


def measure(hours: float, place: Path) -> None:
    lexicon, block = load(), (np.random.default_rng(1).normal(size=_EVERY_S * RATE) * 500).astype(np.int16)
    warm(lexicon)
    with open_archive(place) as archive:
        session = Session.begin(archive, lexicon, "scripted feed")
        filed: list[float] = []
        began = time.monotonic()
        for turn in range(round(hours * 3600 / _EVERY_S)):
            if turn % round(3600 / _EVERY_S) == 0:
                print(f"  {turn * _EVERY_S / 3600:.0f} h: {memory_mb():.0f} MB", flush=True)
            session.feed(block)
            text, start = LINES[turn % len(LINES)], session.seconds - 3
            words = [
                Word(word, word, start + n * 0.2, start + n * 0.2 + 0.15, 1.0) for n, word in enumerate(text.split())
            ]
            at = time.monotonic()
            session.hear(words)
            filed.append(time.monotonic() - at)
        took = time.monotonic() - began
        last = sorted(filed[-1000:])
        at = time.monotonic()
        record = session.close()
        print(
            f"{hours:g} h of sound in {took:.0f} s; {len(filed)} utterances, {len(record.entries())} entries; "
            f"memory {memory_mb():.0f} MB; "
            f"kept and filed in {1000 * last[len(last) // 2]:.1f} ms (median), "
            f"{1000 * last[int(len(last) * 0.99)]:.1f} ms (99 of 100), "
            f"of the last {len(last)}; record and closing {time.monotonic() - at:.1f} s; "
            f"{sum(f.stat().st_size for f in place.parent.iterdir() if f.is_file()) / 1e6:.0f} MB on the disk"
        )
        at = time.monotonic()
        wrong = list(faults(archive, session.id))
        same = read_again(archive, session.id, lexicon) == record
        info = archive.run(session.id)
        print(
            f"read again in {time.monotonic() - at:.1f} s: {len(wrong)} faults, the same record: {same}; "
            f"{info.utterances} utterances and {info.seconds / 3600:g} h of sound kept"
        )


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--hours", type=float, default=8)
    with tempfile.TemporaryDirectory(prefix="crownsole-long-") as folder:
        measure(arguments.parse_args().hours, Path(folder) / "archive.sqlite3")


if __name__ == "__main__":
    main()
