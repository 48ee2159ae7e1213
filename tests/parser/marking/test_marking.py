"""Marks: each step's outcome and evidence, what takes points, what passes; and a person's points beside the tool's."""

from __future__ import annotations

import csv
import io
import json
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon import load
from lexicon.rubrics import rubrics
from parser.marking import Given, Mark, Marking, Settled, mark, rubric_of, with_given
from parser.marking.changing import checked_points
from parser.marking.model import CAUTION
from parser.marking.text import COLUMNS, as_csv, as_text
from parser.pipeline import understand_all
from parser.record import Record
from parser.structurer import file
from parser.transcript import Word, transcript_of_text, transcript_of_words

SAMPLES = Path(__file__).parents[3] / "samples"
WASHED = "hand hygiene performed\n"
VITALS = "blood pressure 120/80 right arm sitting\nheart rate 72\nrespirations 16\ntemperature 98.6 oral\nspo2 98\n"


@lru_cache
def record(text: str) -> Record:
    transcript = transcript_of_text(text, "a test")
    return file(understand_all(transcript), transcript, load(), run_id="r1")


def marked(text: str, rubric: str = "complete") -> Marking:
    made = record(text)
    return mark(made, made.remarks, rubric_of(load(), rubric))


def step(text: str, name: str, rubric: str = "complete") -> Mark:
    return marked(text, rubric).marks()[name]


# ---------------------------------------------------------------------- single steps

STEPS: list[tuple[str, str, str, float, str]] = [
    ("nothing of it", "alert and oriented times four", "pupils", 0, "not_met"),
    ("heard", "pupils equal round and reactive to light", "pupils", 2, "met"),
    ("said to be absent is said", "no murmurs", "murmurs", 1, "met"),
    ("one side", "pedal pulses two plus on the left", "pedal_pulses", 1, "part"),
    ("both sides", "pedal pulses two plus bilaterally", "pedal_pulses", 2, "met"),
    ("one side, corrected", "pedal pulses two plus on the left, correction, bilaterally", "pedal_pulses", 2, "met"),
    ("detail missing", "temperature 98.6", "temperature", 1, "part"),
    ("in order", "abdomen flat\nbowel sounds active\nabdomen soft nontender", "abdomen_order", 2, "met"),
    ("out of order", "abdomen soft nontender\nbowel sounds active\nabdomen flat", "abdomen_order", 0, "not_met"),
    ("order, one act missing", "bowel sounds active\nabdomen soft nontender", "abdomen_order", 1, "part"),
    ("washed first", WASHED + VITALS, "hand_hygiene", 3, "met"),
    ("washed after touching", VITALS + WASHED + "lungs clear\n" * 9, "hand_hygiene", 0, "not_met"),
    ("absent bowel sounds at once", "bowel sounds absent", "bowel_sounds", 1, "part"),
    ("both carotids at once", "carotids palpated at the same time", "carotids", 0, "not_met"),
    ("not called for", "lungs clear", "line_site", 0, "not_due"),
    ("put off", "breast examination deferred", "breasts", 0, "deferred"),
]


@pytest.mark.parametrize(("text", "name", "points", "outcome"), [case[1:] for case in STEPS], ids=[c[0] for c in STEPS])
def test_outcome_and_points(text: str, name: str, points: float, outcome: str) -> None:
    found = step(text, name)
    assert (found.outcome, found.points) == (outcome, points)
    assert bool(found.shown) == (found.outcome in ("met", "part", "deferred") or bool(found.held))
    assert found.why


def test_evidence_names_entry_words_and_times() -> None:
    words = [Word(text, text, 5.0 + n, 5.5 + n, 0.9) for n, text in enumerate("pupils equal and reactive".split())]
    transcript = transcript_of_words([words], "spoken", 9.0)
    made = file(understand_all(transcript), transcript, load(), run_id="r")
    found = mark(made, made.remarks, rubric_of(load(), "complete")).marks()["pupils"]
    assert {shown.entry for shown in found.shown} <= set(made.entries())
    assert min(shown.evidence.start or 99 for shown in found.shown) == 5.0
    assert "at 0:05" in as_text(mark(made, made.remarks, rubric_of(load(), "complete")))


def test_a_remark_takes_points_only_from_what_it_is_about() -> None:
    found = marked("temperature 98.6\nheart rate 72").marks()
    assert [held.rule for held in found["temperature"].held] == ["detail.temperature_site"]
    assert not found["pulse_rate"].held


def test_what_was_heard_weakly_is_to_be_confirmed_first() -> None:
    words = [Word("no", "no", 0.0, 0.2, 0.3, "'no' was not heard clearly"), Word("murmurs", "murmurs", 0.3, 0.9, 0.9)]
    transcript = transcript_of_words([words], "spoken", 1.0)
    made = file(understand_all(transcript), transcript, load(), run_id="r")
    found = mark(made, made.remarks, rubric_of(load(), "complete"))
    assert found.marks()["murmurs"].confirm
    assert any(reason.startswith("To confirm first: ") for reason in found.total.reasons)


# ---------------------------------------------------------------------- the sum


def test_the_complete_sample_is_proposed_to_pass_and_the_hurried_one_not() -> None:
    """The samples are what their README says: complete in order, and hurried with gaps."""
    complete = marked((SAMPLES / "complete_run.txt").read_text(encoding="utf-8"))
    hurried = marked((SAMPLES / "hurried_run.txt").read_text(encoding="utf-8"))
    assert complete.total.proposal == "pass"
    assert set(complete.total.critical_met) == {"hand_hygiene", "two_identifiers", "call_light", "bed"}
    assert hurried.total.proposal == "not yet"
    assert set(hurried.total.critical_open) == {"hand_hygiene", "two_identifiers", "call_light", "bed"}


def test_one_critical_step_decides() -> None:
    text = (SAMPLES / "complete_run.txt").read_text(encoding="utf-8")
    found = marked(text.replace("Hand hygiene performed, I introduced", "I introduced"))
    assert (found.total.percent or 0) > 90
    assert found.total.proposal == "not yet"
    assert "Critical and not met: hand hygiene." in found.total.reasons


def test_a_run_in_which_nearly_all_is_put_off_does_not_pass(tmp_path: Path) -> None:
    text = (
        "items:\n  - {id: one, region: heart, label: one, say: one, any: [{concepts: [murmur]}], source: C}\n"
        "lists:\n  - {id: two, title: Two, based_on: complete, stations: [breasts_axillae, heart],\n"
        "     leave_out: [heart_rhythm, heart_sounds, murmurs], source: C}"
    )
    (tmp_path / "checklist").mkdir()
    (tmp_path / "checklist" / "a.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "rubric.yaml").write_text(
        "rubrics:\n"
        "  - {id: two, title: Two, checklist: two, source: C, stations: [{id: breasts_axillae, weight: 9}]}\n",
        encoding="utf-8",
    )
    lexicon = load([tmp_path])
    made = record("breast examination deferred\nno murmurs")
    total = mark(made, made.remarks, rubric_of(lexicon, "two")).total
    assert (total.percent, total.proposal) == (100, "not yet")
    assert any("was put off or not called for" in reason for reason in total.reasons)


def test_nothing_said_is_no_error() -> None:
    found = marked("hello there")
    assert found.total.points == 0
    assert found.total.proposal == "not yet"
    assert CAUTION in as_text(found)


@pytest.mark.parametrize("name", list(rubrics(load())))
def test_every_rubric_marks_the_items_of_its_checklist(name: str) -> None:
    from parser.audit.checklists import wanted

    rubric = rubric_of(load(), name)
    items = {item.id for some in wanted(load(), rubric.rubric.checklist).items.values() for item in some}
    assert items <= {task.id for task in rubric.tasks}
    assert len({task.id for task in rubric.tasks}) == len(rubric.tasks)
    own = marked((SAMPLES / "complete_run.txt").read_text(encoding="utf-8"), name)
    assert sum(station.possible for station in own.stations) == pytest.approx(own.total.possible)


@pytest.mark.parametrize(
    ("rubric", "message"),
    [
        ("{id: x, title: X, checklist: respiratory, source: C, stations: [{id: vital_signs, at_least: 50}],"
         " item_points: {note: 1, attention: 0}, leave_out: [pain_rating]}",
         "no step of 'vital_signs' has points to reach"),
        ("{id: x, title: X, based_on: complete, checklist: skin, source: C, to_pass: {critical: 5}}",
         "asks for 5 critical steps and has 4"),
    ],
)  # fmt: skip
def test_a_rubric_that_cannot_be_passed_is_refused_with_file_and_line(
    tmp_path: Path, rubric: str, message: str
) -> None:
    (tmp_path / "rubric.yaml").write_text(f"rubrics:\n  - {rubric}\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"rubric\.yaml, line 2: .*") as caught:
        rubric_of(load([tmp_path]), "x")
    assert message in str(caught.value)


def test_an_unknown_rubric_names_those_there_are() -> None:
    with pytest.raises(ValueError, match=r"There is no rubric 'x'\. Rubrics are: complete"):
        rubric_of(load(), "x")


LINES = st.sampled_from(
    (SAMPLES / "complete_run.txt").read_text(encoding="utf-8").splitlines()
    + (SAMPLES / "hurried_run.txt").read_text(encoding="utf-8").splitlines()
)


@settings(max_examples=25)
@given(st.lists(LINES, max_size=8))
def test_sums_add_up_whatever_is_said(lines: list[str]) -> None:
    found = marked("\n".join(lines) or "quiet")
    again = marked("\n".join(lines) or "quiet")
    assert found == again
    for one in found.marks().values():
        assert 0 <= one.points <= one.possible
    assert found.total.points == pytest.approx(sum(one.points for one in found.marks().values()))
    assert found.total.points <= found.total.possible
    assert Marking.model_validate_json(found.model_dump_json()) == found


# ---------------------------------------------------------------------- a person's points


def points(name: str, value: float, number: int = 1, rubric: str = "complete", version: str | None = None) -> Given:
    return Given(
        number=number, step=name, points=value, proposed=0, reason="seen on film", by="R. Sandrin",
        at="2026-11-25T10:00:00+00:00", rubric=rubric, rubric_version=version or rubric_of(load(), rubric).version,
    )  # fmt: skip


def test_a_persons_points_stand_beside_the_tools() -> None:
    before = marked(VITALS)
    rubric = rubric_of(load(), "complete")
    after = with_given(before, rubric, [points("hand_hygiene", 2, 1), points("hand_hygiene", 3, 2)])
    assert after.total == before.total
    assert after.standing.points == before.total.points + 3
    assert "hand_hygiene" in after.standing.critical_met
    found = after.marks()["hand_hygiene"]
    assert found.given is not None
    assert [one.points for one in (*found.before, found.given)] == [2, 3]
    assert (found.points, found.outcome) == (0, "not_met")
    assert "hand_hygiene: 0 proposed, 3 given by R. Sandrin (2026-11-25): seen on film" in as_text(after)


def test_points_by_another_rubric_or_version_are_told_apart() -> None:
    rubric = rubric_of(load(), "complete")
    before = marked(VITALS)
    assert with_given(before, rubric, [points("bed", 2, rubric="thorough")]).standing == before.standing
    older = with_given(before, rubric, [points("bed", 2, version="older"), points("gone", 1)])
    assert older.standing.points == before.standing.points + 2
    assert any("another version of the rubric" in notice for notice in older.notices)
    assert any("'gone', which this rubric does not mark now" in notice for notice in older.notices)


def test_points_for_what_was_put_off_count() -> None:
    rubric = rubric_of(load(), "complete")
    before = marked("breast examination deferred")
    after = with_given(before, rubric, [points("breasts", 1)])
    assert after.standing.possible == before.standing.possible + 1


@pytest.mark.parametrize("value", [-1, 3.1, float("nan"), float("inf")])
def test_points_that_cannot_be_are_refused(value: float) -> None:
    with pytest.raises(ValueError, match="has 0 to 3 points"):
        checked_points(value, marked(VITALS).marks()["hand_hygiene"])


# ---------------------------------------------------------------------- as a table


def test_the_table_has_a_row_a_step_and_nothing_a_spreadsheet_would_compute() -> None:
    rubric = rubric_of(load(), "complete")
    given_ = points("bed", 2).model_copy(update={"reason": "=HYPERLINK(1)", "by": "@someone"})
    made = with_given(marked(VITALS), rubric, [given_], Settled(by="x", at="y", rubric="complete", rubric_version="z"))
    rows = list(csv.DictReader(io.StringIO(as_csv([made]))))
    assert tuple(rows[0]) == COLUMNS
    assert {row["step"] for row in rows} == {task.id for task in rubric.tasks}
    bed = next(row for row in rows if row["step"] == "bed")
    assert (bed["given"], bed["reason"], bed["by"]) == ("2", "'=HYPERLINK(1)", "'@someone")


def test_the_contract_has_its_schema_and_the_caution() -> None:
    made = json.loads(marked(VITALS).model_dump_json())
    assert made["schema"] == "crownsole-marking/1"
    assert made["caution"] == "Marks are proposals; a person decides."
    assert set(made) == {"schema", "run", "source", "rubric", "stations", "total", "standing", "settled", "notices",
                         "caution"}  # fmt: skip
