"""What rests on weakly heard words asks first; what was perhaps said is asked about; text is never in doubt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pytest

from lexicon import load
from parser.audit import audit
from parser.pipeline import understand_all
from parser.record import Amendment, Record, Remark
from parser.structurer import file
from parser.transcript import Word, transcript_of_text, transcript_of_words
from tests.parser.audit.test_wording import offences

#: A line as heard, and the confidence of words that were not heard clearly.
Line = tuple[str, Mapping[str, float]]


def heard(*lines: Line | str) -> Record:
    """The record of lines with times; words are sure unless they are named."""
    clock, runs = 0.0, []
    for line in lines:
        text, weak = line if isinstance(line, tuple) else (line, {})
        words = []
        for word in text.split():
            words.append(Word(word, word, round(clock, 2), round(clock + 0.3, 2), weak.get(word, 1.0)))
            clock += 0.3
        runs.append(words)
        clock += 1.0
    spoken = transcript_of_words(runs, "x", clock)
    return file(understand_all(spoken), spoken, load(), run_id="x")


def rules(remarks: Iterable[Remark], part: str) -> list[str]:
    return [remark.rule for remark in remarks if part in remark.rule]


SATURATION = "oxygen saturation eighty six percent on room air"


def test_a_caution_on_a_weak_number_asks_first_and_keeps_its_severity() -> None:
    clear, weak = heard(SATURATION), heard((SATURATION, {"eighty": 0.4}))
    told = next(remark for remark in clear.remarks if remark.rule == "caution.saturation_low")
    asks = next(remark for remark in weak.remarks if remark.rule == "confirm.caution.saturation_low")
    assert asks.severity == told.severity
    assert asks.message.startswith("Confirm first: “oxygen saturation eighty six percent")
    assert "'eighty' was not heard clearly. If it is so:" in asks.message
    assert not rules(weak.remarks, "caution.saturation_low")[1:]


def test_confirmed_it_tells() -> None:
    record = heard((SATURATION, {"eighty": 0.4}))
    entry = record.measures["spo2"][0].entry
    yes = Amendment(id="a1", supersedes=entry, entry=None, kind="confirmation", by="learner", at=None, evidence=None)
    record = record.model_copy(update={"amendments": (yes,)})
    assert rules(audit(record, load()), "saturation_low") == ["caution.saturation_low"]


@pytest.mark.parametrize(
    ("lines", "rule"),
    [
        (["no edema of the legs", ("two plus pitting edema of both ankles", {"pitting": 0.3})], "contradiction.edema"),
        ([("temperature one hundred forty oral", {"forty": 0.3})], "implausible.temperature"),
        ([("respirations eight", {"eight": 0.5})], "range.respirations_adult"),
        ([("left radial pulse two plus", {"left": 0.4})], "sides.pulses"),
    ],
)
def test_what_rests_on_weak_words_asks_and_ranks_low(lines: list[Line | str], rule: str) -> None:
    weak = heard(*lines)
    clear = heard(*(line if isinstance(line, str) else line[0] for line in lines))
    assert rules(clear.remarks, rule) == [rule]
    assert rules(weak.remarks, rule) == [f"confirm.{rule}"]
    assert next(r for r in weak.remarks if r.rule == f"confirm.{rule}").severity == "note"
    assert all(not offences(f"{remark.message} {remark.say}") for remark in weak.remarks)


def test_a_word_put_together_of_weak_pieces_is_sure() -> None:
    word = Word("bruits", "brew ease", 1.0, 1.5, 0.4)
    words = (Word("carotid", "carotid", 0.5, 0.9, 1.0), word, Word("present", "present", 1.6, 2.0, 1.0))
    spoken = transcript_of_words([words], "x", 3)
    record = file(understand_all(spoken), spoken, load(), run_id="x")
    assert not rules(record.remarks, "confirm.caution")


def test_an_entry_asked_about_is_not_marked_a_second_time() -> None:
    spoken = transcript_of_words(
        [[Word(text, text, n * 0.3, n * 0.3 + 0.3, 1.0, "'eighty' was not heard clearly" if text == "eighty" else None)
          for n, text in enumerate(SATURATION.split())]], "x", 9)
    record = file(understand_all(spoken), spoken, load(), run_id="x")
    assert rules(record.remarks, "confirm.caution.saturation_low")
    assert "confirm" not in {remark.rule for remark in record.remarks}


FACE = "face symmetrical"
EYES = [FACE, "pupils equal round and reactive to light and accommodation", "extraocular movements intact"]
EARS = ["hearing intact bilaterally", "no drainage from the ears", "nasal septum midline"]


def test_an_item_that_was_perhaps_said_is_asked_about() -> None:
    unclear: Line = ("square are why", {"square": 0.4, "why": 0.5})
    record = heard(*EYES, unclear, *EARS)
    asks = next(remark for remark in record.remarks if remark.rule == "confirm.missing.eyes")
    assert "perhaps said, but not heard clearly: sclera and conjunctiva (“square are why” at 0:" in asks.message
    assert asks.severity == "note"
    assert asks.evidence[0].text == "square are why"
    assert "missing.eyes" not in {remark.rule for remark in record.remarks}


def test_what_was_not_said_is_told_beside_what_was_perhaps_said() -> None:
    record = heard(*EYES[:2], ("square are why", {"square": 0.4, "why": 0.5}), *EARS)
    told = next(remark for remark in record.remarks if remark.rule == "missing.eyes")
    assert "1 of 3 usual items were heard; not heard: eye movements." in told.message
    assert "sclera" not in told.message
    assert rules(record.remarks, "confirm.missing.eyes")


@pytest.mark.parametrize(
    "between",
    [
        [],
        ["let me find my light"],
        [("let me find my light", {"light": 0.3})],
        [("good morning how are you today", {"morning": 0.4, "today": 0.4})],
        [("pupils brisk", {"brisk": 0.4})],
    ],
)
def test_an_omission_is_told_whatever_else_was_unclear(between: list[Line | str]) -> None:
    record = heard(*EYES, *between, *EARS)
    assert rules(record.remarks, "missing.eyes") == ["missing.eyes"]


def test_unclear_words_at_another_station_excuse_nothing() -> None:
    unclear: Line = ("square are why", {"square": 0.4, "why": 0.5})
    closing = ["both legs warm", "no edema in the legs", "calves nontender", "gait steady", unclear, "spine straight"]
    record = heard(*EYES, *EARS, *closing)
    assert rules(record.remarks, "missing.eyes") == ["missing.eyes"]


def test_text_is_never_unclear() -> None:
    lines = [*EYES, "square are why", *EARS]
    spoken = transcript_of_text("\n".join(lines), "x")
    record = file(understand_all(spoken), spoken, load(), run_id="x")
    assert rules(record.remarks, "missing.eyes") == ["missing.eyes"]
    assert not [remark.rule for remark in record.remarks if remark.rule.startswith("confirm.")]
