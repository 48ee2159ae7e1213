"""How a cohort goes: speed by workers, workers killed while it runs, the overview of a thousand runs, a plan for fifty.

    python -m tests.bench.cohort speed [--files 8]          one worker, then two, on the same files
    python -m tests.bench.cohort killed [--files 40] [--every 4]
    python -m tests.bench.cohort overview [--runs 1000]
    python -m tests.bench.cohort plan [--files 1000] [--workers 50] [--minutes 20]

The recordings are copies of the spoken sample under other names. `plan` measures one file here, then plays the queue
of workers and of the one process that keeps results, event by event (a model, not a measurement of fifty workers).
"""

from __future__ import annotations

import argparse
import heapq
import os
import random
import signal
import tempfile
import threading
import time
import tracemalloc
from collections import Counter
from contextlib import contextmanager, suppress
from pathlib import Path

from lexicon import load
from listener.archive import open_archive
from listener.cohort import crew
from listener.cohort.files import find
from listener.cohort.jobs import Filed, Job, Outcome, Setting, work
from listener.cohort.keeping import Keeper
from listener.cohort.ledger import Ledger
from listener.cohort.overview import view_of, write_overview
from listener.cohort.running import Order, Told, run
from listener.progress.course import Point
from listener.progress.figures import figures_of
from listener.progress.naming import station_names
from listener.runs import Options, prepare_ears, record_of

SAMPLE = Path(__file__).parents[2] / "samples" / "hurried_run.opus"
SETTING = Setting(Options())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["speed", "killed", "overview", "plan"])
    parser.add_argument("--files", type=int)
    parser.add_argument("--every", type=float, default=4.0)
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=20.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CROWNSOLE_ARCHIVE"] = str(Path(folder) / "archive.sqlite3")
        if asked.what == "speed":
            speed(Path(folder), asked.files or 8)
        elif asked.what == "killed":
            killed(Path(folder), asked.files or 40, asked.every)
        elif asked.what == "overview":
            overview(Path(folder), asked.runs)
        else:
            plan(Path(folder), asked.files or 1000, asked.workers, asked.minutes)


def recordings(folder: Path, count: int) -> Path:
    for n in range(count):
        place = folder / "in" / f"L-{n // 4 + 1:02}" / f"run{n % 4 + 1}.opus"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(SAMPLE.read_bytes())
    return folder / "in"


def cohort(folder: Path, out: str, workers: int) -> Told:
    return run(Order(folder, folder.parent / out, find(folder), SETTING, crew.Where(workers)))


def speed(folder: Path, count: int) -> None:
    """Seconds from the first file given out to the last result, with the workers up and their models loaded."""
    prepare_ears(None, SETTING.options)
    files = [Job(f"{n:032x}", str(SAMPLE), f"file {n}", "sound", SETTING) for n in range(count)]
    took = {}
    for workers in (1, 2):
        began = time.perf_counter()
        with crew.crew(crew.Where(workers)) as client:
            crew.prepare(client, SETTING)
            list(crew.outcomes(client, [Job(f"{1000 + n:032x}", str(SAMPLE), "warm", "sound", SETTING)
                                        for n in range(workers)]))
            up = time.perf_counter()
            assert all(outcome.state == "done" for outcome in crew.outcomes(client, files))
            took[workers] = time.perf_counter() - up
        print(f"{workers} workers: {took[workers]:.1f} s for {count} files of 93 s ({up - began:.1f} s to start)")
    print(f"speed-up from 1 to 2 workers: {took[1] / took[2]:.2f} (load {os.getloadavg()[0]:.1f} at the end)")


def killed(folder: Path, count: int, every: float) -> None:
    """A worker is killed every few seconds; every file must end with one row."""
    prepare_ears(None, SETTING.options)
    stop, deaths = threading.Event(), []

    @contextmanager
    def deadly(where: crew.Where):  # type: ignore[no-untyped-def]
        with usual(where) as client:
            thread = threading.Thread(target=reaper, args=(client,), daemon=True)
            thread.start()
            yield client
            stop.set()
            thread.join()

    def reaper(client) -> None:  # type: ignore[no-untyped-def]
        while not stop.wait(every):
            with suppress(OSError):  # asked of a worker that is just dying
                pids = list(client.run(os.getpid).values())
                if pids:
                    os.kill(random.choice(pids), signal.SIGKILL)
                    deaths.append(pids)

    usual = crew.crew
    crew.crew = deadly
    told = cohort(recordings(folder, count), "out", 2)
    rows = Counter(one.name for one in told.filed)
    states = Counter(one.outcome.state for one in told.filed)
    with open_archive() as archive:
        kept = Counter(info.head.source for info in archive.runs())
    print(f"{count} files, {len(deaths)} workers killed, {told.seconds:.0f} s: {dict(states)}; "
          f"rows twice: {sum(n > 1 for n in rows.values())}, missing: {count - len(rows)}; "
          f"runs in the archive: {sum(kept.values())}, twice: {sum(n > 1 for n in kept.values())}")


def overview(folder: Path, runs: int) -> None:
    """The overview of invented runs that are done, and of the same runs in the archive."""
    from listener.progress.gathering import gather
    from tests.listener.learners import attempts, insert, transcript

    made = list(attempts(runs // 10, 10))
    figures = [figures_of(record_of(transcript(one), SETTING.options)).as_json() for one in made[:20]]
    filed = tuple(
        Filed(f"{one.learner}/run{one.attempt}.opus", _who(one),
              Outcome(f"{n:032x}", "", "done", record="-", figures=figures[n % len(figures)]), f"runs/{n}.html")
        for n, one in enumerate(made))
    timed = []
    for _ in range(3):
        began = time.perf_counter()
        write_overview(folder, filed, ())
        timed.append(time.perf_counter() - began)
    tracemalloc.start()
    write_overview(folder, filed, ())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    size = (folder / "overview.html").stat().st_size
    print(f"overview of {runs} runs: first {timed[0]:.2f} s, best {min(timed):.2f} s, {size / 1000:.0f} kB, "
          f"peak {peak / 1e6:.0f} MB")
    with open_archive() as archive:
        for one in made:
            insert(archive, one)
        began = time.perf_counter()
        found = gather(archive)
        points: tuple[Point, ...] = found.course.points
        view_of(points, station_names(), pages=lambda point: point.run)
        print(f"the same from the archive: {time.perf_counter() - began:.2f} s for {len(points)} runs")


def _who(one):  # type: ignore[no-untyped-def]
    from listener.archive.whose import Whose

    return Whose(one.learner, one.attempt)


def plan(folder: Path, count: int, workers: int, minutes: float) -> None:
    """Where the time of many files on many workers goes, from one file measured here."""
    source = recordings(folder, 1)
    (item,) = find(source).items
    began = time.perf_counter()
    prepare_ears(None, SETTING.options)
    loading = time.perf_counter() - began
    outcome = work(Job("0" * 32, str(item.path), item.name, "sound", SETTING))
    outcome = work(Job("0" * 32, str(item.path), item.name, "sound", SETTING))
    assert outcome.duration_s
    hearing = (outcome.spent["words"]) / outcome.duration_s
    reading = (outcome.spent["record"] + outcome.spent["page"]) / outcome.duration_s
    ledger = Ledger(folder / "done")
    began = time.perf_counter()
    ledger.put(outcome)
    putting = time.perf_counter() - began
    with open_archive() as archive:
        keeper = Keeper(archive, load(), SETTING)
        began = time.perf_counter()
        keeper.keep(item, outcome)
        keeping = (time.perf_counter() - began) / outcome.duration_s
    print(f"a second of sound: {hearing:.3f} s heard, {reading:.4f} s read and written, {keeping:.4f} s kept in the "
          f"archive; {putting * 1000:.0f} ms a file in the folder of results; ears {loading:.1f} s a process")
    for kept in (True, False):
        seconds, busy, waits = played(count, workers, minutes * 60, hearing + reading,
                                      putting, keeping if kept else 0.0, loading)
        print(f"{count} files of {minutes:.0f} min on {workers} workers, {'kept' if kept else 'not kept'}: "
              f"{seconds / 60:.0f} min; workers busy {busy:.0%}, the keeping process {waits:.0%}")


def played(count: int, workers: int, length_s: float, worked: float, put_s: float, kept: float,
           loading_s: float) -> tuple[float, float, float]:
    """Seconds to the last result, the share of the time workers work, and that the keeping process is busy."""
    choose = random.Random(1)
    free = [loading_s] * workers
    heapq.heapify(free)
    results = []
    working = 0.0
    for _ in range(count):
        seconds = length_s * choose.uniform(0.5, 1.5)
        began = heapq.heappop(free)
        heapq.heappush(free, began + seconds * worked)
        working += seconds * worked
        results.append((began + seconds * worked, seconds))
    at = busy = 0.0
    for done, seconds in sorted(results):
        one = put_s + seconds * kept
        at = max(at, done) + one
        busy += one
    return at, working / (at * workers), busy / at


if __name__ == "__main__":
    main()
