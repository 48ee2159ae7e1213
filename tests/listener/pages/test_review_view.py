"""What the review page is shown of a run: lines through their changes, evidence, doubts, remarks and their moments."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from listener.archive import Archive, Head, RunInfo
from listener.archive.keeping import keep
from listener.pages.review_view import Line, ReviewView, plain, review_of
from listener.reviewing import Review, Wish
from parser.pipeline import understand_all
from parser.structurer import file
from parser.transcript import Transcript, Word, transcript_of_text, transcript_of_words
from tests.listener.sessions import LEXICON, started

INFO = RunInfo(Head("abc123", "hear", "a test", "2026-01-02T03:04:05+00:00", "v"), "finished", 1, 1, 9.0)


def viewed(transcript: Transcript) -> ReviewView:
    record = file(understand_all(transcript), transcript, LEXICON, run_id="abc123")
    return review_of(INFO, record, transcript.utterances, LEXICON)


def spoken(*said: str, doubts: dict[str, str] | None = None, heard: dict[str, str] | None = None) -> Transcript:
    at, runs = 0.0, []
    for text in said:
        words = []
        for word in text.split():
            why = (doubts or {}).get(word)
            words.append(Word(word, (heard or {}).get(word, word), at, at + 0.3, 0.5 if why else 1.0, why))
            at += 0.4
        runs.append(words)
        at += 1.0
    return transcript_of_words(runs, "a test", at)


def lines_of(view: ReviewView) -> dict[str, Line]:
    return {line.label: line for station in view.stations for line in station.lines}


def test_a_line_points_at_its_words_and_their_sound() -> None:
    view = viewed(spoken("heart rate seventy two", "no carotid bruits"))
    line = lines_of(view)["bruit"]
    said = view.utterances[line.moment.utterance - 1]
    first, last = (place - said.first for place in line.moment.words)
    assert said.text[said.words[first][0] : said.words[last][1]] == line.said == "no carotid bruits"
    assert (line.moment.start, line.moment.end) == (said.words[first][2], said.words[last][3])


def test_doubts_show_what_was_heard_why_and_how_else_it_can_be_read() -> None:
    view = viewed(
        spoken(
            "no carotid bruits",
            "heart rate fifteen",
            doubts={"no": "'no' was not heard clearly", "fifteen": "heard 'fifteen', may be 'fifty'"},
            heard={"bruits": "brew eats"},
        )
    )
    lines = lines_of(view)
    assert lines["bruit"].confirm == "'no' was not heard clearly"
    assert [other.text for other in lines["bruit"].others] == ["present"]
    assert lines["bruit"].heard == "no carotid brew eats"
    assert [other.text for other in lines["heart rate"].others] == ["50"]
    assert view.waiting == 2
    assert [(d.word, d.why, d.heard) for d in view.utterances[0].doubts] == [
        (0, "'no' was not heard clearly", None),
        (2, None, "brew eats"),
    ]


def test_a_spoken_correction_is_one_line_with_its_history() -> None:
    view = viewed(spoken("pedal pulses two plus bilaterally", "correction one plus on the left"))
    line = lines_of(view)["pulse"]
    assert line.id == "e1"
    assert line.value == "1+"
    (step,) = line.trail
    assert (step.how, step.by, step.before) == ("changed", "speaker", "pulse 2+, foot, both sides")
    assert step.moment is not None


def test_changes_of_the_review_are_steps_of_the_line(kept: Archive) -> None:
    record = keep(kept, transcript_of_text("heart rate 72\nno murmurs\n", "a test"), LEXICON)
    review = Review(kept, record.run.id, lambda _: LEXICON)

    def ask(name: str, entry: str | None = None, **more: object) -> None:
        review.act(Wish(name, review.look().revision, "Ada", entry, **more))  # type: ignore[arg-type]

    ask("amend", "e1", changes={"value": "80"}, reason="misread")
    ask("withdraw_entry", "e2", reason="not listened")
    ask("restore", "e2")
    ask("confirm", "e4")
    shown = review.look()
    lines = lines_of(review_of(shown.info, shown.record, shown.utterances, LEXICON))
    assert [(s.how, s.by, s.reason, s.after) for s in lines["heart rate"].trail] == [
        ("changed", "Ada", "misread", "heart rate 80 a minute")
    ]
    assert [step.how for step in lines["murmur"].trail] == ["withdrawn", "restored", "confirmed"]
    assert not lines["murmur"].withdrawn
    assert lines["murmur"].id == "e2"
    assert lines["murmur"].entry == "e5"


def test_remarks_lead_to_the_lines_they_are_about() -> None:
    view = viewed(spoken("blood pressure one eighteen over seventy six", "heart rate one twelve"))
    remark = next(r for r in view.remarks if r.rule == "range.heart_rate_adult")
    assert [moment.line for moment in remark.moments] == [lines_of(view)["heart rate"].id]
    assert remark.source
    assert all(citation for _, citation in view.sources)
    assert [r.number for r in view.remarks] == list(range(1, len(view.remarks) + 1))


def test_computed_values_name_their_lines_and_loose_words_stay() -> None:
    view = viewed(transcript_of_text("height 170 cm\nweight 70 kg\nokay the weather is fine\n", "a test"))
    index = next(figure for figure in view.computed if figure.label == "Body mass index")
    assert index.text is not None
    assert index.text.startswith("24.2")  # 70 / 1.7 ** 2
    assert len(index.lines) == 2
    assert "the weather is fine" in " ".join(loose.text for loose in view.unfiled)


def test_a_marked_moment_leads_to_its_line_or_to_what_was_said_last(kept: Archive) -> None:
    session = started(kept, "heart rate 72\nrecorder mark this\n")
    session.close()
    shown = Review(kept, session.id, lambda _: LEXICON).look()
    view = review_of(shown.info, shown.record, shown.utterances, LEXICON, shown.marks)
    (mark,) = view.marks
    assert (mark.text, mark.moment.line) == ("heart rate 72 a minute", "e1")
    (mark,) = review_of(shown.info, shown.record, shown.utterances, LEXICON, [{"utterance": 2}]).marks
    assert (mark.text, mark.moment.words) == ("recorder mark this", (3, 3))


def test_places_count_as_a_browser_counts() -> None:
    view = viewed(transcript_of_text("😀 heart rate 72", "a test"))
    said = view.utterances[0]
    units = said.text.encode("utf-16-le")
    line = lines_of(view)["heart rate"]
    first, last = (place - said.first for place in line.moment.words)
    shown = units[2 * said.words[first][0] : 2 * said.words[last][1]].decode("utf-16-le")
    assert shown == "heart rate 72"


SAID = st.sampled_from(["heart rate 72", "no murmurs", "correction 80", "scratch that"])


@given(st.text(max_size=80), st.lists(SAID))
def test_any_text_has_a_view_that_is_json(text: str, said: list[str]) -> None:
    view = viewed(transcript_of_text("\n".join([text, *said]), text))
    assert json.loads(json.dumps(plain(view)))["run"]["id"] == "abc123"
    lines = [line.id for station in view.stations for line in station.lines]
    assert len(lines) == len(set(lines))
