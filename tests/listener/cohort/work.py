"""Jobs for workers in tests: done at once, slow, and fatal to the process that does them."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from listener.cohort.jobs import Job, Outcome, Setting
from listener.runs import Options

SETTING = Setting(Options())


def job(number: int, name: str = "") -> Job:
    return Job(f"{number:032x}", f"/nowhere/{number}", name or f"file {number}.txt", "text", SETTING)


def slow(job: Job) -> Outcome:
    """Half a second for each file; a process that does a fatal file dies, unless the file has one of its own."""
    time.sleep(0.4)
    if job.name.startswith("fatal") and not job.apart:
        os.kill(os.getpid(), signal.SIGKILL)
    if job.name.startswith("fatal"):
        return Outcome(job.key, job.name, "failed", "crashed apart")
    return Outcome(job.key, job.name, "done", record="{}")


def texts(folder: Path, *names: str) -> Path:
    """Short transcripts in a folder."""
    for name in names:
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text("Hand hygiene performed.\nSkin warm and dry. Pedal pulses two plus bilaterally.\n")
    return folder
