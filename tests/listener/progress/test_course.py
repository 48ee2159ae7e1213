"""What is told of many runs: counted by hand in small courses, and against numpy's quartiles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from listener.progress.course import course, in_order, spread
from listener.progress.figures import RunFigures
from listener.progress.plots import MOST_POINTS, grouped
from tests.listener.progress.courses import NAMES, figures, made, points

VALUES = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)


@given(VALUES)
def test_quartiles_are_those_of_numpy(values: list[float]) -> None:
    """The inclusive method is numpy's default, linear interpolation (Hyndman and Fan 1996, type 7; from memory)."""
    told = spread(values)
    assert told is not None
    wanted = np.percentile(values, [25, 50, 75]) if len(values) > 2 else [min(values), np.median(values), max(values)]
    assert (told.low, told.middle, told.high) == pytest.approx(tuple(wanted), rel=1e-9, abs=1e-6)
    assert told.count == len(values)


def test_values_that_are_not_known_do_not_count() -> None:
    assert spread([None, 3.0, None]) == spread([3.0])
    assert spread([None]) is None
    assert spread([]) is None


def test_omissions_are_counted_over_the_runs_in_which_their_station_counted() -> None:
    told = made(
        figures(neck=("thyroid",), heart=("s one", "s two")),
        figures(neck=("thyroid",), heart_wanted=False),
        figures(heart=("s two",)),
        figures(),
    )
    assert [(o.say, o.missed, o.counted, o.since) for o in told.omissions] == [
        ("s two", 2, 3, 1), ("thyroid", 2, 4, 2), ("s one", 1, 3, 3),
    ]


def test_stations_keep_a_place_for_every_run() -> None:
    told = made(figures(heart=("s one",)), figures(heart_wanted=False), figures())
    neck, heart = told.stations
    assert heart.course == ("missing", None, "documented")
    assert heart.left_out == (1, None, 0)
    assert (heart.counted, heart.times("documented"), heart.seconds) == (2, 1, None)
    assert (neck.entries, neck.doubtful, neck.latest_seconds) == (12, 3, 20.0)


def test_faults_are_grouped_by_rule_and_told_in_the_latest_words() -> None:
    told = made(figures(faults=("order.a", "timing.b")), figures(faults=("order.a",)), figures())
    assert [(f.rule, f.runs, f.since, f.family) for f in told.recurring] == [
        ("order.a", 2, 1, "order"), ("timing.b", 1, 2, "timing"),
    ]


@pytest.mark.parametrize(
    ("count", "compared"), [(1, False), (5, False), (6, True), (20, True)], ids=str
)
def test_ends_are_compared_when_they_do_not_overlap(count: int, compared: bool) -> None:
    told = made(*(figures(neck=("thyroid",) if n < count / 2 else ()) for n in range(count)))
    coverage = told.changes[0]
    assert ((coverage.first, coverage.last) == (50.0, 100.0)) is compared
    assert (coverage.first is None) is not compared


MEASURES = {
    "coverage": 50.0, "omissions": 1.0, "order": 1.0, "timing": 0.0, "sides": 0.0, "doubt": 10.0, "correction": 20.0,
    "minutes": 2.0, "words_a_minute": 100.0,
}


def test_measures_of_one_run() -> None:
    told = made(figures(neck=("thyroid",), faults=("order.a",)))
    assert {change.measure.id: change.values[0] for change in told.changes} == MEASURES


def test_runs_of_text_have_no_times() -> None:
    told = made(figures(seconds=None))
    assert {change.measure.id for change in told.changes if change.all is None} == {"minutes", "words_a_minute"}


def test_attempts_order_the_runs_of_one_learner_and_of_no_others() -> None:
    runs = points(figures(), figures(), figures(), attempts=(3, 1, 2))
    assert [p.attempt for p in in_order(runs)] == [1, 2, 3]
    other = points(figures(), learner="L-2", attempts=(1,))
    assert [p.attempt for p in in_order([*runs, *other])] == [3, 1, 1, 2]
    unknown = points(figures(), figures(), attempts=(2, None))
    assert [p.attempt for p in in_order(unknown)] == [2, None]


def test_nothing_comes_of_nothing() -> None:
    told = course([], tuple(NAMES))
    assert (told.points, told.stations, told.omissions, told.recurring) == ((), (), (), ())
    assert all(change.values == () for change in told.changes)


@given(st.lists(st.one_of(st.none(), st.floats(0, 100)), max_size=300))
def test_long_courses_are_drawn_with_bounded_points_and_no_value_is_lost(values: list[float | None]) -> None:
    groups = grouped(values)
    known = [value for value in values if value is not None]
    assert len(groups) <= MOST_POINTS
    assert [x for x, _ in groups] == sorted(x for x, _ in groups)
    if known:
        assert min(known) - 1e-9 <= min(y for _, y in groups) <= max(y for _, y in groups) <= max(known) + 1e-9
    if len(values) <= MOST_POINTS:
        assert groups == [(n, value) for n, value in enumerate(values, 1) if value is not None]


@given(st.integers(0, 3), st.booleans(), st.lists(st.sampled_from(["order.a", "timing.b"]), unique=True))
def test_figures_survive_being_kept(left_out: int, heart: bool, faults: list[str]) -> None:
    run = figures(tuple(f"item {n}" for n in range(left_out)), heart_wanted=heart, faults=tuple(faults))
    assert RunFigures.from_json(run.as_json(), {}) == run
    for damaged in ({}, {**run.as_json(), "stations": [["neck"]]}, {**run.as_json(), "faults": None}):
        with pytest.raises(ValueError, match="no figures"):
            RunFigures.from_json(damaged, {})
