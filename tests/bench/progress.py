"""How long progress takes over many invented runs, and how much memory: python -m tests.bench.progress [--runs 1000]

Forty runs of invented learners are understood and filed; the others are copies of them under other ids and dates,
so that the archive has its true size. Each figure is taken in a process of its own, the archive opened anew.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from listener.archive import Archive, open_archive
from listener.archive.events import Event
from listener.archive.reading import filed_record
from listener.archive.summaries import add_summary
from listener.archive.whose import Whose
from listener.progress.figures import figures_of
from tests.listener.learners import FIRST, attempts, insert

DISTINCT = 40


def fill(archive: Archive, runs: int) -> None:
    """``runs`` runs of 20 learners."""
    known = [insert(archive, one) for one in attempts(4, min(runs, DISTINCT) // 4)]
    originals = []
    for run in known:
        record = filed_record(archive, run)
        assert record is not None
        originals.append((archive.run(run).head, list(archive.events(run)), figures_of(record).as_json()))
    for n in range(len(known), runs):
        head, events, body = originals[n % len(originals)]
        made = (FIRST + timedelta(days=n // 20, minutes=n % 20)).isoformat(timespec="microseconds")
        head = replace(head, id=f"{n:012x}", made_at=made)
        copied: list[Event] = []
        for event in events:
            copied.append(replace(event, hash=event.chained(copied[-1].hash if copied else head.hash)))
        archive.insert_run(head, copied, [], Whose(f"L-{n % 20 + 1:02d}", n // 20 + 1))
        add_summary(archive, head.id, copied[-1].hash, head.lexicon, body)


def timed(what: str, place: str, times: int = 3) -> None:
    """Prints of one piece of work in this process: seconds by the clock and of the processor, the first time (what is
    imported late counts) and the best; and the largest memory.
    """
    work = WORK[what]
    clock, processor = [], []
    for _ in range(times):
        with open_archive(place) as archive:
            start, used = time.perf_counter(), time.process_time()
            size = work(archive)
            clock.append(time.perf_counter() - start)
            processor.append(time.process_time() - used)
    told = {"first_s": clock[0], "best_s": min(clock), "first_cpu": processor[0], "best_cpu": min(processor)}
    print(json.dumps({**told, "peak_mb": _peak_mb(), "size": size}))


def _peak_mb() -> float:
    """The most memory this program had, by the kernel's word (the usage of resources counts what came before too)."""
    lines = Path("/proc/self/status").read_text(encoding="ascii", errors="replace").splitlines()
    return float(next(line.split()[1] for line in lines if line.startswith("VmHWM"))) / 1024


def _text(archive: Archive) -> int:
    from listener.progress.gathering import gather
    from listener.progress.text import text

    return len(text(gather(archive)))


def _gathered(archive: Archive) -> int:
    from listener.progress.gathering import gather

    return len(gather(archive).course.points)


def _page(archive: Archive) -> int:
    from listener.pages.progress import portfolio
    from listener.progress.gathering import gather

    return len(portfolio(gather(archive)))


def _drawn(archive: Archive) -> int:
    from listener.progress import view

    view._drawn.cache_clear()
    return _page(archive)


def _one(archive: Archive) -> int:
    from listener.progress.gathering import Filters, gather
    from listener.progress.text import text

    return len(text(gather(archive, Filters(learner="L-01"))))


def _anew(archive: Archive) -> int:
    from listener.progress.gathering import gather

    return len(gather(archive, anew=True).course.points)


WORK: dict[str, Callable[[Archive], int]] = {
    "figures gathered": _gathered, "text": _text, "text of one learner": _one, "page, plots kept": _page,
    "page, plots anew": _drawn,
    "every figure anew": _anew,
}


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=1000)
    asked.add_argument("--archive", help="An archive filled before, or where to fill one; else a temporary file.")
    asked.add_argument("--time", choices=WORK, help=argparse.SUPPRESS)
    chosen = asked.parse_args()
    if chosen.time:
        timed(chosen.time, chosen.archive, 1 if chosen.time == "every figure anew" else 3)
        return
    with tempfile.TemporaryDirectory() as folder:
        place = chosen.archive or str(Path(folder) / "archive.sqlite3")
        start = time.perf_counter()
        with open_archive(place) as archive:
            if not archive.runs():
                fill(archive, chosen.runs)
            count = len(archive.runs())
        size = f", {Path(place).stat().st_size / 1e6:.0f} MB" if "://" not in place else ""
        print(f"{count} runs{size}; filled in {time.perf_counter() - start:.0f} s")
        for what in WORK:
            command = [sys.executable, "-m", "tests.bench.progress", "--time", what, "--archive", place]
            told = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
            print(
                f"{what:20} clock {told['first_s']:6.2f} / {told['best_s']:5.2f} s   processor "
                f"{told['first_cpu']:5.2f} / {told['best_cpu']:5.2f} s   peak {told['peak_mb']:4.0f} MB   "
                f"({told['size']})"
            )


if __name__ == "__main__":
    main()
