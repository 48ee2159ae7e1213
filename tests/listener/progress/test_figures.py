"""The figures of one run, held against what can be counted in its text and its times by hand."""

from __future__ import annotations

import json

import pytest

from listener.archive import Archive
from listener.progress.figures import RunFigures, figures_of
from listener.runs import Options, record_of
from listener.session import Session
from parser.transcript import Word, transcript_of_text, transcript_of_words
from tests.listener.sessions import LEXICON, spoken

NECK = "neck supple no jugular venous distention"


def of_text(text: str, checklist: str = "complete") -> RunFigures:
    return figures_of(record_of(transcript_of_text(text, "a test"), Options(checklist=checklist)))


def of_words(*utterances: list[Word], long: float = 60.0) -> RunFigures:
    return figures_of(record_of(transcript_of_words(utterances, "a test", long), Options()))


def test_stations_and_omissions_are_those_of_the_record() -> None:
    record = record_of(transcript_of_text("Moving on to the neck. Neck supple. No bruits.", "a test"), Options())
    told = figures_of(record)
    assert {s.region: s.coverage for s in told.stations} == {
        r.region: r.coverage for r in record.regions if r.entries or r.missing
    }
    assert told.omissions == sum(len(region.missing) for region in record.regions) > 0
    assert told.words == len(record.words) == 9
    assert (told.seconds, told.speaking_s, told.words_a_minute) == (None, None, None)


def test_a_station_of_which_nothing_was_wanted_nor_said_does_not_count() -> None:
    assert "history" not in {station.region for station in of_text("Neck supple.").stations}
    assert "history" in {station.region for station in of_text("Client denies nausea. Neck supple.").stations}


def test_words_a_minute_are_words_over_the_time_from_first_to_last() -> None:
    """Six words of 0.3 s each, the last one ends 0.05 s before its time is up: 1.75 s."""
    told = of_words(spoken(NECK, 10.0))
    assert told.speaking_s == pytest.approx(1.75)
    assert told.words_a_minute == pytest.approx(6 * 60 / 1.75)
    assert told.seconds == 60.0


def test_time_belongs_to_a_station_until_the_first_words_of_another() -> None:
    told = of_words(spoken(NECK, 10.0), spoken("abdomen soft nontender", 40.0), spoken("thyroid not enlarged", 70.0),
                    long=90.0)
    times = {station.region: station.seconds for station in told.stations if station.seconds is not None}
    assert set(times) == {"neck", "abdomen"}
    assert times["neck"] == pytest.approx(30.0 + 0.85, abs=0.4)
    assert times["abdomen"] == pytest.approx(30.0, abs=0.4)


def test_spoken_corrections_are_counted_apart_from_those_by_hand(kept: Archive) -> None:
    session = Session.begin(kept, LEXICON, "a test")
    session.type("blood pressure one twenty eight over eighty two\ncorrection one eighteen over seventy six")
    session.type("no carotid bruits bilaterally")
    told = figures_of(session.record())
    assert (told.corrected, told.by_hand) == (1, 0)
    bruit = next(entry.id for _, entry in session.state.entries() if entry.concept == "bruit")
    session.request("withdraw_entry", entry=bruit, reason="a slip")
    told = figures_of(session.close())
    assert (told.corrected, told.by_hand, told.confirmed) == (2, 1, 0)
    assert told.correction_rate == pytest.approx(2 / told.entries)


def test_doubts_are_counted_where_they_stand() -> None:
    words = spoken("temperature ninety eight point six", 5.0)
    doubtful = [*words[:1], *(Word(w.text, w.heard, w.start, w.end, 0.3, "heard weakly") for w in words[1:])]
    told = of_words(doubtful, spoken(NECK, 20.0))
    assert told.doubtful == 1
    assert {s.region: s.doubtful for s in told.stations if s.doubtful} == {"vital_signs": 1}
    assert of_words(words, spoken(NECK, 20.0)).doubtful == 0


def test_faults_are_those_of_the_audit() -> None:
    """Palpation before auscultation is a fault of order (OpenStax, Clinical Nursing Skills; see order.yaml)."""
    told = of_text("Abdomen soft and nontender.\nBowel sounds active in all four quadrants.")
    (fault,) = [fault for fault in told.faults if fault.family == "order"]
    assert fault.rule == "order.abdomen_order"
    assert told.faults_of("order") == 1
    assert told.faults_of("missing") == 0


def test_what_is_kept_is_small_and_plain() -> None:
    told = of_text("Neck supple.")
    written = json.dumps(told.as_json())
    assert RunFigures.from_json(json.loads(written)) == told
    assert len(written) < 8000
