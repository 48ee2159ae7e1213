"""Directions by voice and requests by hand: each does what it says, whatever takes away can be undone."""

from __future__ import annotations

from typing import Any

import pytest

from listener.archive import Archive
from listener.archive.reading import filed_record, read_again
from parser.transcript import Word
from tests.listener.sessions import BRUIT, CLEAR, LEXICON, PRESSURE, SAID, answers, spoken, standing, started
from tests.shared import SHARED, needs_shared

# ---------------------------------------------------------------------- directions

#: What is said after SAID -> direction, tone, a part of the answer, what stands then.
DIRECTIONS = [
    ("recorder begin", "begin", "done", "Recording", [PRESSURE, BRUIT]),
    ("recorder read back", "read_back", "answer", "bruit absent, carotid artery, both sides", [PRESSURE, BRUIT]),
    ("recorder read vitals", "read_vitals", "answer", "blood pressure 128/82 mmHg", [PRESSURE, BRUIT]),
    ("recorder read this station", "read_region", "answer", "Neck: bruit absent", [PRESSURE, BRUIT]),
    ("recorder where am i", "where_am_i", "answer", "Neck.", [PRESSURE, BRUIT]),
    ("recorder what is left", "what_is_left", "answer", "Not complete: Vital signs", [PRESSURE, BRUIT]),
    ("recorder withdraw that", "withdraw", "done", "Taken back: bruit", [PRESSURE]),
    (
        "recorder withdraw that\nrecorder withdraw that\nrecorder withdraw that",
        "withdraw",
        "refused",
        "nothing to take back",
        [],
    ),
    ("recorder withdraw that\nrecorder undo", "undo", "done", "Put back: bruit", [PRESSURE, BRUIT]),
    ("scratch that\nrecorder undo", "undo", "done", "Put back: bruit", [PRESSURE, BRUIT]),
    ("recorder undo", "undo", "refused", "nothing to undo", [PRESSURE, BRUIT]),
    ("recorder mark this", "mark", "done", "Marked", [PRESSURE, BRUIT]),
    ("recorder start this station again", "repeat_region", "done", "Neck again", [PRESSURE]),
    ("recorder start this station again\nrecorder undo", "undo", "done", "Put back", [PRESSURE, BRUIT]),
    ("recorder yes", "confirm_yes", "refused", "Nothing waits", [PRESSURE, BRUIT]),
    ("recorder no", "confirm_no", "refused", "Nothing waits", [PRESSURE, BRUIT]),
    ("recorder stop counting", "stop_counting", "refused", "Nothing was being counted", [PRESSURE, BRUIT]),
    ("recorder help", "help", "answer", 'Say "recorder"', [PRESSURE, BRUIT]),
    ("recorder pause\npedal edema two plus", "pause", "done", "Paused", [PRESSURE, BRUIT]),
    ("recorder pause\npedal edema\nrecorder go on\nlungs clear", "go_on", "done", "Going on", [PRESSURE, BRUIT, CLEAR]),
    ("recorder finish", "finish", "done", "has ended", [PRESSURE, BRUIT]),
    ("recorder finish\npedal edema two plus", "finish", "done", "has ended", [PRESSURE, BRUIT]),
    ("recorder finish\nrecorder mark this", "mark", "refused", "The run has ended", [PRESSURE, BRUIT]),
    ("recorder finish\nrecorder undo\nlungs clear", "undo", "done", "the end was taken back", [PRESSURE, BRUIT, CLEAR]),
    ("recorder finish\nrecorder go on", "go_on", "done", "the end was taken back", [PRESSURE, BRUIT]),
    ("blood pressure\nrecorder withdraw that", "withdraw", "done", "Taken back", [PRESSURE]),
    ("Recorder, please withdraw that.", "withdraw", "done", "Taken back: bruit", [PRESSURE]),
]


@pytest.mark.parametrize("case", DIRECTIONS, ids=[d[0].replace("\n", "; ") for d in DIRECTIONS])
def test_directions(kept: Archive, case: tuple[str, str, str, str, list[tuple[str, str, str | None]]]) -> None:
    said, name, tone, part, left = case
    session = started(kept, SAID + said)
    last = answers(session)[-1]
    assert last[:2] == (name, tone)
    assert part in last[2]
    assert [e for e in standing(session) if e[0] in {"blood_pressure", "bruit", "edema"} or e in left] == left
    session.close()
    assert filed_record(kept, session.id) == read_again(kept, session.id, LEXICON)


@pytest.mark.parametrize(
    "said",
    [
        "the recorder pause button is stuck",
        "she plays the recorder finish",
        "my recorder withdraw that",
        "pause",
        "undo that please",
        "please go on",
        "finish",
        "i heard recorder pause on the radio",
        "recorder of deeds",
        "recorder pause the video for me now and listen",
        "tell me when to stop recording",
        "recorder",
        "wait",
        "mark this down as normal",
        "a voice recorder help desk",
    ],
)
def test_dictation_and_chat_direct_nothing(kept: Archive, said: str) -> None:
    session = started(kept, SAID + said)
    assert answers(session) == []
    assert not session.state.paused
    assert not session.state.finished
    assert session.state.utterances[-1].text == said
    session.close()


@needs_shared
def test_everyday_speech_directs_nothing(kept: Archive) -> None:
    """The transcripts of 157 open recordings of everyday speech (their README names them)."""
    assert SHARED is not None
    lines = (SHARED / "data" / "speech" / "manifest.tsv").read_text(encoding="utf-8").splitlines()[1:]
    session = started(kept)
    for line in lines:
        session.type(line.split("\t")[1])
    assert len(session.state.utterances) >= 150
    assert answers(session) == []
    session.close()


def test_a_direction_within_an_utterance_parts_what_came_before_and_after(kept: Archive) -> None:
    session = started(kept)
    session.hear(spoken("no carotid bruits recorder pause pedal edema two plus", 1.0, {3: 0.9, 5: 0.9}))
    session.hear(spoken("lungs clear", 8.0))
    session.hear(spoken("heart rate seventy two recorder go on no jugular venous distention", 10.0, {4: 0.9, 7: 0.9}))
    assert [concept for concept, *_ in standing(session)] == ["bruit", "jvd"]
    texts = {unfiled.text: unfiled.reason for unfiled in session.record().unfiled}
    assert texts["lungs clear"] == "said while paused"
    session.close()
    assert filed_record(kept, session.id) == read_again(kept, session.id, LEXICON)


def test_counting_goes_by_the_sound_and_marks_know_their_moment(kept: Archive) -> None:
    session = started(kept)
    session.hear(spoken("recorder start counting", 10.0))
    session.hear(spoken("recorder mark this", 30.0))
    session.hear(spoken("recorder stop counting", 72.4))
    assert answers(session)[-1] == ("stop_counting", "answer", "Counted for 62 seconds.")
    assert session.state.marks[0]["start"] == 30.0
    session.close()


def test_doubt_is_confirmed_or_taken_back_by_voice(kept: Archive) -> None:
    doubtful = [Word("edema", "a dean", 1.0, 1.5, 0.3, "heard with little confidence")]
    for answer, left in (("recorder yes", [None]), ("recorder no", [])):
        session = started(kept)
        session.hear([Word("pedal", "pedal", 0.5, 0.9, 1.0), *doubtful, Word("present", "present", 1.6, 1.9, 1.0)])
        assert [e.confirm for _, e in session.state.entries()] == ["heard with little confidence"]
        session.hear(spoken(answer, 4.0))
        assert [e.confirm for _, e in session.state.entries()] == left
        if not left:
            session.hear(spoken("recorder undo", 6.0))
            assert len(session.state.entries()) == 1
        kinds = [amendment.kind for amendment in session.close().amendments]
        assert kinds == (["confirmation"] if left else ["withdrawal", "spoken"])


def test_nothing_of_a_run_is_ever_changed(kept: Archive) -> None:
    session = started(kept, SAID)
    before = {e.id: e.model_copy(update={"superseded_by": None}) for _, e in session.state.filing.entries}
    session.type("recorder withdraw that\nrecorder undo\nrecorder start this station again\nscratch that")
    session.request("amend", entry="e1", changes={"value": {"text": "130/84"}}, reason="read from the dial")
    after = {e.id: e.model_copy(update={"superseded_by": None}) for _, e in session.state.filing.entries}
    assert {number: after[number] for number in before} == before
    assert session.close().measures["blood_pressure"][0].systolic == 130


# ---------------------------------------------------------------------- requests by hand


@pytest.mark.parametrize(
    ("request_", "expected"),
    [
        (
            {"name": "amend", "entry": "e1", "changes": {"value": {"text": "130/84"}}},
            ("blood_pressure", "present", "130/84"),
        ),
        (
            {"name": "amend", "entry": "e2", "changes": {"status": "present", "side": "left"}},
            ("bruit", "present", None),
        ),
        ({"name": "amend", "entry": "e2", "changes": {"region": "closing"}}, ("bruit", "absent", None)),
        ({"name": "confirm", "entry": "e2"}, ("bruit", "absent", None)),
    ],
)
def test_entries_are_amended_by_hand(
    kept: Archive, request_: dict[str, Any], expected: tuple[str, str, str | None]
) -> None:
    session = started(kept, SAID)
    session.request(**request_, reason="looked again", by="page")
    assert expected in standing(session)
    assert len(standing(session)) == 2
    (amendment,) = session.record().amendments
    assert (amendment.by, amendment.reason, amendment.supersedes) == ("page", "looked again", request_["entry"])
    assert amendment.at is not None
    session.close()
    assert filed_record(kept, session.id) == read_again(kept, session.id, LEXICON)


def test_changes_by_hand_are_undone_one_after_another(kept: Archive) -> None:
    session = started(kept, SAID)
    before = standing(session)
    session.request("amend", entry="e1", changes={"value": {"text": "130/84"}})
    session.request("amend", entry="e3", changes={"value": {"text": "132/84"}})
    session.request("confirm", entry="e2")
    session.request("withdraw_entry", entry="e5")
    for values in (["132/84"], ["132/84"], ["130/84"], ["128/82"]):
        session.request("undo")
        assert [value for _, _, value in standing(session) if value] == values
    assert standing(session) == before
    session.request("undo")
    assert answers(session)[-1] == ("undo", "refused", "There is nothing to undo.")
    assert len(session.state.filing.amendments) == 8
    session.close()
    assert filed_record(kept, session.id) == read_again(kept, session.id, LEXICON)


def test_one_change_is_reverted_and_its_history_stays(kept: Archive) -> None:
    session = started(kept, SAID)
    session.request("amend", entry="e1", changes={"value": {"text": "130/84"}})
    session.request("revert", entry="e3", reason="it was right")
    assert standing(session) == standing(started(kept, SAID))
    assert session.record().measures["blood_pressure"][0].systolic == 128
    assert [(a.supersedes, a.entry) for a in session.state.filing.amendments] == [("e1", "e3"), ("e3", "e4")]
    session.request("withdraw_entry", entry="e4")
    session.request("revert", entry="e4")
    assert "was taken back" in answers(session)[-1][2]


FORGED: list[tuple[dict[str, Any], str]] = [
    ({"name": "amend", "entry": "e99", "changes": {"status": "absent"}}, "no such entry"),
    ({"name": "amend", "entry": "e1' OR 1=1", "changes": {}}, "no such entry"),
    ({"name": "amend", "entry": None, "changes": {}}, "no such entry"),
    ({"name": "amend", "entry": {"$gt": ""}, "changes": {}}, "no such entry"),
    ({"name": "amend", "entry": "e1", "changes": {"id": "e7"}}, "cannot be changed"),
    ({"name": "amend", "entry": "e1", "changes": {"evidence": None}}, "cannot be changed"),
    ({"name": "amend", "entry": "e1", "changes": {"superseded_by": "e2"}}, "cannot be changed"),
    ({"name": "amend", "entry": "e1", "changes": {"status": "splendid"}}, "cannot be the status"),
    ({"name": "amend", "entry": "e1", "changes": {"side": 7}}, "cannot be the side"),
    ({"name": "amend", "entry": "e1", "changes": {"site": "x" * 500}}, "cannot be the site"),
    ({"name": "amend", "entry": "e1", "changes": {"qualifiers": "mild"}}, "cannot be the qualifiers"),
    ({"name": "amend", "entry": "e1", "changes": {"region": "../etc"}}, "no station"),
    ({"name": "amend", "entry": "e1", "changes": {"value": "130/84"}}, "written as text"),
    ({"name": "amend", "entry": "e1", "changes": {"value": {"text": "1", "number": 9}}}, "written as text"),
    ({"name": "amend", "entry": "e1", "changes": [1]}, "given by name"),
    ({"name": "confirm", "entry": "e1", "concept": "bruit", "chars": [0, 1]}, "no such entry"),
    ({"name": "restore", "entry": "e50"}, "no such entry"),
    ({"name": "restore", "entry": "e1"}, "was not taken back"),
    ({"name": "revert", "entry": "e1"}, "was not changed"),
    ({"name": "drop_table", "entry": "e1"}, "cannot be asked"),
    ({"name": "withdraw_entry"}, "no such entry"),
]


@pytest.mark.parametrize(("request_", "part"), FORGED, ids=[str(f[0])[:60] for f in FORGED])
def test_forged_requests_change_nothing(kept: Archive, request_: dict[str, Any], part: str) -> None:
    session = started(kept, SAID)
    before = session.record()
    if "concept" in request_:  # a forger who writes the body himself
        session._keep([("request", {"id": request_["name"], "by": "page", **request_})])
    else:
        session.request(**request_)
    assert part in answers(session)[-1][2]
    assert answers(session)[-1][1] == "refused"
    assert session.record() == before
    session.close()
