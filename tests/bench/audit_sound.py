"""The planted wrongs once more, spoken by a machine voice and heard by the recogniser.

    python -m tests.bench.audit_sound [--runs 4] [--seed 3] [--voice cmu_us_slt_arctic_hts] [--show]

Needs festival (text2wave), the acoustic model, and time: a run is four to six minutes of sound. Each
utterance is synthesised with the silence of the script before it; the command ``crownsole hear`` does the rest.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import wave
from collections import Counter
from pathlib import Path

from parser.record import Record
from tests.bench.audit import Planted, choose
from tests.bench.audit_scripts import Line, complete

RATE = 16000


def spoken(text: str, voice: str, folder: Path) -> bytes:
    """One utterance as 16-bit mono samples at 16 kHz."""
    source, target = folder / "line.txt", folder / "line.wav"
    source.write_text(text, encoding="utf-8")
    command = ["text2wave", "-eval", f"(voice_{voice})", "-F", str(RATE), "-o", str(target), str(source)]
    subprocess.run(command, check=True, capture_output=True)
    with wave.open(str(target)) as sound:
        return sound.readframes(sound.getnframes())


def heard(lines: list[Line], voice: str, folder: Path) -> Record:
    """The record of a run after voice and recogniser."""
    path = folder / "run.wav"
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE)
        for line in lines:
            sound.writeframes(bytes(2 * int(line.pause * RATE)))
            sound.writeframes(spoken(line.text, voice, folder))
        sound.writeframes(bytes(2 * RATE))
    program = "from listener.cli import main; main()"
    command = [sys.executable, "-c", program, "hear", str(path), "--format", "json"]
    answer = subprocess.run(command, check=True, capture_output=True, text=True)
    return Record.model_validate_json(answer.stdout)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=4)
    options.add_argument("--seed", type=int, default=3)
    options.add_argument("--voice", default="cmu_us_slt_arctic_hts")
    options.add_argument("--show", action="store_true")
    chosen = options.parse_args()
    rng = random.Random(chosen.seed)
    planted, found = Counter[str](), Counter[str]()
    besides = 0
    with tempfile.TemporaryDirectory() as name:
        for n in range(chosen.runs):
            lines, wrongs = complete(rng), choose(rng, 1 + n % 5, True)
            for wrong in sorted(wrongs, key=lambda wrong: wrong.rule == "order.stations"):
                lines = wrong.plant(lines)
            run = Planted(tuple(lines), wrongs, True, heard(lines, chosen.voice, Path(name)).remarks)
            planted.update(wrong.kind for wrong in run.wrongs)
            found.update(wrong.kind for wrong in run.found)
            besides += len(run.besides)
            if chosen.show:
                print(f"run {n + 1}: missed {[(w.kind, w.name) for w in set(run.wrongs) - set(run.found)]}")
                for remark in run.besides:
                    print(f"  BESIDES {remark.rule}: {remark.message[:160]}", flush=True)
    figures = f"{sum(found.values())} of {sum(planted.values())}"
    print(f"{chosen.runs} runs by {chosen.voice}: {figures} planted wrongs found")
    print(f"  remarks besides: {besides} ({besides / chosen.runs:.2f} a run)")


if __name__ == "__main__":
    main()
