"""Small courses made by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from listener.progress.course import Course, Point, course
from listener.progress.figures import Fault, RunFigures, StationFigures

NAMES = {"neck": "Neck", "heart": "Heart"}
BEGUN = datetime(2026, 9, 1, 9, tzinfo=UTC)


def figures(neck: tuple[str, ...] = (), heart: tuple[str, ...] = (), *, faults: tuple[str, ...] = (),
            words: int = 100, heart_wanted: bool = True, seconds: float | None = 20.0) -> RunFigures:
    """Figures of a run at two stations, with what was not heard at each."""
    stations = [StationFigures("neck", "partial" if neck else "documented", 4, 1, neck, seconds)]
    if heart_wanted:
        stations.append(StationFigures("heart", "missing" if heart else "documented", 6, 0, heart, None))
    return RunFigures(
        words=words, seconds=seconds and 120.0, speaking_s=seconds and 60.0, entries=10, doubtful=1, corrected=2,
        by_hand=1, confirmed=0, urgent=0, stations=tuple(stations),
        faults=tuple(Fault(rule, "neck", 1, f"{rule} was wrong.", f"Mend {rule}.") for rule in faults),
    )


def points(*runs: RunFigures, learner: str | None = "L-1", attempts: tuple[int | None, ...] = ()) -> list[Point]:
    """Runs a day apart."""
    numbers = attempts or tuple(range(1, len(runs) + 1))
    return [
        Point(f"run{n:03}", BEGUN + timedelta(days=n), learner, attempt, "complete", f"{n}.wav", "hear", run)
        for n, (run, attempt) in enumerate(zip(runs, numbers, strict=True))
    ]


def made(*runs: RunFigures) -> Course:
    return course(points(*runs), tuple(NAMES))
