"""Which files a cohort has, and whose they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listener.cohort.files import find, pattern_of
from listener.errors import InputError, UsageError
from tests.listener.cohort.work import texts


def told(folder: Path, **asked: object) -> dict[str, tuple[str | None, int | None]]:
    return {item.name: (item.who.learner, item.who.attempt) for item in find(folder, **asked).items}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "whose"),
    [
        ("anna/run 2.txt", ("anna", 2)),
        ("anna/week3/take-04.txt", ("anna", 4)),
        ("anna_2.txt", ("anna", 2)),
        ("L-07 3.txt", ("L-07", 3)),
        ("ben.txt", ("ben", 1)),
        ("ben/2026-11-25.txt", ("ben", 1)),
        ("ben/20261125.txt", ("ben", 1)),
        ("Zoë/01.txt", ("Zoë", 1)),
    ],
)
def test_names_tell_whose_a_file_is(tmp_path: Path, name: str, whose: tuple[str, int]) -> None:
    assert told(texts(tmp_path, name)) == {name: whose}


def test_files_without_numbers_are_counted_in_the_order_of_names(tmp_path: Path) -> None:
    texts(tmp_path, "anna/early.txt", "anna/late.txt", "ben/only.txt")
    assert told(tmp_path) == {
        "anna/early.txt": ("anna", 1), "anna/late.txt": ("anna", 2), "ben/only.txt": ("ben", 1)}


@pytest.mark.parametrize(
    ("pattern", "name", "whose"),
    [
        ("{learner}/*{attempt}", "anna/run 12.txt", ("anna", 12)),
        ("**/{learner}_{attempt}", "autumn/group/anna_2.txt", ("anna", 2)),
        ("{attempt}-{learner}.txt", "3-anna.txt", ("anna", 3)),
        ("*/{learner}", "monday/anna.txt", ("anna", None)),
        ("{learner}.{attempt}", "(a).7.txt", ("(a)", 7)),
    ],
)
def test_a_pattern_tells_whose_a_file_is(
    tmp_path: Path, pattern: str, name: str, whose: tuple[str, int | None]
) -> None:
    assert told(texts(tmp_path, name), names=pattern) == {name: whose}


@pytest.mark.parametrize("pattern", ["", "*.wav", "{learner}{learner}", "{learner}/{what}", "{learner}/{"])
def test_a_pattern_that_cannot_be_is_refused(pattern: str) -> None:
    with pytest.raises(UsageError, match="pattern"):
        pattern_of(pattern)


@given(st.text(alphabet="ab./*{}(+?[]\\", max_size=12))
def test_a_pattern_is_taken_or_refused_and_never_an_error(text: str) -> None:
    try:
        made = pattern_of("{learner}" + text)
    except UsageError:
        return
    made.fullmatch("a/b/ab.txt")


def test_files_that_a_pattern_does_not_fit_are_nobodys_and_told(tmp_path: Path) -> None:
    texts(tmp_path, "anna/run1.txt", "stray.txt")
    found = find(tmp_path, names="{learner}/*{attempt}")
    assert [(i.name, i.who.learner) for i in found.items] == [("anna/run1.txt", "anna"), ("stray.txt", None)]
    assert "stray.txt is not named like" in found.remarks[0]


def test_a_table_tells_whose_a_file_is(tmp_path: Path) -> None:
    texts(tmp_path / "in", "a.txt", "b.txt", "c.txt")
    table = tmp_path / "who.csv"
    table.write_text("file,learner,attempt\na.txt,Anna,2\nb.txt,Ben,\ngone.txt,Zoe,1\n", encoding="utf-8-sig")
    assert told(tmp_path / "in", people=table) == {"a.txt": ("Anna", 2), "b.txt": ("Ben", None), "c.txt": (None, None)}
    assert find(tmp_path / "in", people=table).remarks == (
        "who.csv names gone.txt is not there.", "c.txt is not in who.csv: nobody's runs.")


@pytest.mark.parametrize(
    ("table", "line", "why"),
    [
        ("name,who\na.txt,b\n", 1, "heading"),
        ("file,learner,attempt\na.txt,b,two\n", 2, "number"),
        ("file,learner,attempt\na.txt,b,0\n", 2, "Attempts count"),
        ("file,learner,attempt\na.txt,b,1\na.txt,c,1\n", 3, "twice"),
    ],
)
def test_a_bad_table_is_told_with_its_line(tmp_path: Path, table: str, line: int, why: str) -> None:
    texts(tmp_path / "in", "a.txt")
    place = tmp_path / "who.csv"
    place.write_text(table)
    with pytest.raises(InputError, match=f"line {line}.*{why}"):
        find(tmp_path / "in", people=place)


def test_hidden_files_results_and_strange_files_are_left_alone(tmp_path: Path) -> None:
    texts(tmp_path, "a/run1.txt", ".hidden.txt", ".cache/x.txt", "results/old.txt")
    (tmp_path / "a" / "picture.png").write_bytes(b"x")
    found = find(tmp_path, leave=tmp_path / "results")
    assert [item.name for item in found.items] == ["a/run1.txt"]
    assert found.remarks == ("1 other files were left alone.",)


def test_an_attempt_that_two_files_claim_is_told_and_both_are_kept(tmp_path: Path) -> None:
    found = find(texts(tmp_path, "anna/1.txt", "anna/again 1.txt"))
    assert len(found.items) == 2
    assert "claimed by 2 files" in found.remarks[0]


@pytest.mark.parametrize("make", [lambda p: p / "none", lambda p: p])
def test_a_folder_without_files_is_told(tmp_path: Path, make: object) -> None:
    with pytest.raises(InputError):
        find(make(tmp_path))  # type: ignore[operator]
