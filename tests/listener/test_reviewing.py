"""A kept run opened for review: changes stand, survive, are seen by all, and never alter what was filed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon import Lexicon, load
from listener.archive import Archive, open_archive
from listener.archive.exchange import bring_in, export
from listener.archive.keeping import keep
from listener.archive.reading import faults, filed_record, read_again
from listener.errors import UsageError
from listener.reviewing import ACTS, Doubtful, Review, Stale, Wish, standing_record
from parser.record import Entry, Record
from parser.transcript import transcript_of_text
from tests.listener.sessions import LEXICON, SAID, started

TEXT = SAID + "heart rate 72\npedal pulses 2+ bilaterally, correction, 1+ on the left\nno murmurs\n"


def opened(archive: Archive, text: str = TEXT) -> Review:
    record = keep(archive, transcript_of_text(text, "a test"), LEXICON)
    return Review(archive, record.run.id, lambda _: LEXICON)


def look(review: Review) -> tuple[Record, str]:
    shown = review.look()
    return shown.record, shown.revision


def entry_of(record: Record, concept: str) -> Entry:
    found = [e for _, e in record.entries().values() if e.concept == concept and e.superseded_by is None]
    return found[-1]


def ask(review: Review, name: str, concept: str = "", **more: Any) -> str:
    record, revision = look(review)
    entry = entry_of(record, concept).id if concept else None
    return review.act(Wish(name, more.pop("revision", revision), "Ada", more.pop("entry", entry), **more))


def test_an_untouched_run_is_shown_as_it_was_filed(archive: Archive) -> None:
    review = opened(archive)
    record, _ = look(review)
    assert record == filed_record(archive, review.id) == read_again(archive, review.id, LEXICON)


def test_changes_stand_and_say_who_when_and_why(archive: Archive) -> None:
    review = opened(archive)
    ask(review, "amend", "blood_pressure", changes={"value": "130/84"}, reason="read from the dial")
    ask(review, "confirm", "murmur")
    ask(review, "withdraw_entry", "bruit", reason="not examined")
    record, _ = look(review)
    assert record.measures["blood_pressure"][0].systolic == 130
    said = [(a.kind, a.by, a.reason) for a in record.amendments if a.by != "speaker"]
    assert said == [
        ("page", "Ada", "read from the dial"),
        ("confirmation", "Ada", None),
        ("withdrawal", "Ada", "not examined"),
    ]
    assert all(a.at for a in record.amendments if a.by == "Ada")
    assert record == standing_record(archive, review.id, LEXICON) == read_again(archive, review.id, LEXICON)
    assert list(faults(archive, review.id)) == []


def test_the_audit_follows_a_change(kept: Archive) -> None:
    review = opened(kept)
    assert "range.heart_rate_adult" not in {remark.rule for remark in look(review)[0].remarks}
    ask(review, "amend", "heart_rate", changes={"value": "112"})
    record, _ = look(review)
    assert "range.heart_rate_adult" in {remark.rule for remark in record.remarks}


def test_undo_takes_back_the_changes_of_the_review_one_by_one(kept: Archive) -> None:
    review = opened(kept)
    before = [(e.concept, e.value, e.side) for _, e in look(review)[0].entries().values() if not e.superseded_by]
    ask(review, "amend", "blood_pressure", changes={"value": "130/84"})
    ask(review, "withdraw_entry", "bruit", reason="no")
    ask(review, "undo")
    ask(review, "undo")
    after = [(e.concept, e.value, e.side) for _, e in look(review)[0].entries().values() if not e.superseded_by]
    assert sorted(map(str, after)) == sorted(map(str, before))
    with pytest.raises(UsageError, match="nothing to undo"):  # what the speaker corrected is no change of the review
        ask(review, "undo")


def test_a_withdrawn_line_is_restored_and_a_change_taken_back(kept: Archive) -> None:
    review = opened(kept)
    bruit = entry_of(look(review)[0], "bruit").id
    ask(review, "withdraw_entry", "bruit", reason="no")
    with pytest.raises(UsageError, match="taken back already"):
        ask(review, "confirm", entry=bruit)
    ask(review, "restore", entry=bruit)
    with pytest.raises(UsageError, match="was not taken back"):
        ask(review, "restore", entry=bruit)
    ask(review, "amend", "bruit", changes={"status": "present"})
    ask(review, "revert", "bruit")
    assert entry_of(look(review)[0], "bruit").status == "absent"


REFUSED: list[tuple[str, dict[str, Any], str]] = [
    ("confirm", {"entry": "e99"}, "no entry e99"),
    ("confirm", {"entry": "e1' OR 1=1"}, "no entry"),
    ("confirm", {"entry": None}, "no entry"),
    ("amend", {"entry": "e1", "changes": {}}, "Nothing would change"),
    ("amend", {"entry": "e1", "changes": {"value": "128/82"}}, "Nothing would change"),
    ("amend", {"entry": "e1", "changes": {"value": "high"}}, "is no blood pressure"),
    ("amend", {"entry": "e1", "changes": {"superseded_by": "e2"}}, "cannot be changed"),
    ("withdraw_entry", {"entry": "e1"}, "why the line is withdrawn"),
    ("withdraw_entry", {"entry": "e1", "reason": ""}, "why the line is withdrawn"),
    ("revert", {"entry": "e1"}, "was not changed"),
    ("finish", {"entry": "e1"}, "cannot be asked"),
    ("undo", {}, "nothing to undo"),
]


@pytest.mark.parametrize(("name", "more", "part"), REFUSED)
def test_what_cannot_be_leaves_no_trace(kept: Archive, name: str, more: dict[str, Any], part: str) -> None:
    review = opened(kept)
    before = kept.run(review.id).events
    with pytest.raises(UsageError, match=part):
        ask(review, name, **more)
    assert kept.run(review.id).events == before


def test_an_unlikely_change_is_made_when_asked_for_again(kept: Archive) -> None:
    review = opened(kept)
    with pytest.raises(Doubtful, match="outside what is plausible"):
        ask(review, "amend", "heart_rate", changes={"value": "900"})
    ask(review, "amend", "heart_rate", changes={"value": "900"}, sure=True)
    assert look(review)[0].measures["heart_rate"][0].number == 900


def test_a_stale_revision_and_one_of_another_run_are_refused(kept: Archive) -> None:
    review, other = opened(kept), opened(kept)
    _, old = look(review)
    ask(review, "confirm", "bruit")
    with pytest.raises(Stale):
        ask(review, "confirm", "murmur", revision=old)
    with pytest.raises(Stale):
        ask(other, "confirm", "murmur", revision=look(review)[1])


def test_two_reviews_of_one_run_see_each_other(tmp_path: Path) -> None:
    place = tmp_path / "a.sqlite3"
    with open_archive(place) as one, open_archive(place) as two:
        first = opened(one)
        second = Review(two, first.id, lambda _: LEXICON)
        _, revision = look(second)
        ask(first, "amend", "heart_rate", changes={"value": "80"})
        with pytest.raises(Stale):
            second.act(Wish("undo", revision, "Bo"))
        assert look(second)[0] == look(first)[0]


def test_a_run_under_way_and_an_interrupted_one_take_no_changes_until_they_end(kept: Archive) -> None:
    session = started(kept, TEXT)
    review = Review(kept, session.id, lambda _: LEXICON)
    with pytest.raises(UsageError, match="under way"):
        ask(review, "confirm", "bruit")
    session.abandon()
    with pytest.raises(UsageError, match="interrupted"):
        ask(review, "confirm", "bruit")
    review.end()
    ask(review, "confirm", "bruit")
    assert kept.run(session.id).status == "finished"


@pytest.fixture
def pack(tmp_path: Path) -> Lexicon:
    """A lexicon in which bruits have another label, and one finding more is known."""
    folder = tmp_path / "pack" / "findings"
    folder.mkdir(parents=True)
    (folder / "heart.yaml").write_text(
        "region: heart\nsource: C\nconcepts:\n  - id: murmur\n    label: heart murmur\n    forms: [\"murmur(s)\"]\n"
        "    nature: abnormal\n",
        encoding="utf-8",
    )
    return load([folder.parent])


def test_a_changed_lexicon_alters_nothing_until_its_difference_is_taken(kept: Archive, pack: Lexicon) -> None:
    review = opened(kept)
    ask(review, "amend", "blood_pressure", changes={"value": "130/84"})
    before, _ = look(review)
    later = Review(kept, review.id, lambda _: pack)
    assert look(later)[0].entries() == before.entries()
    ask(later, "confirm", "bruit")
    assert look(later)[0].run.lexicon.version == LEXICON.version
    difference = later.again()
    assert "- Heart: murmur absent" in difference.lines
    assert any(line.startswith("+ Heart: heart murmur absent") for line in difference.lines)
    assert look(later)[0].run.lexicon.version == LEXICON.version
    with pytest.raises(Stale):
        later.take("forged")
    later.take(difference.seal)
    taken, _ = look(later)
    assert taken.run.lexicon.version == pack.version
    assert taken.measures["blood_pressure"][0].systolic == 130  # the changes by hand stay
    assert later.again().lines == ()


def test_a_changed_run_is_handed_on_with_its_changes(kept: Archive, tmp_path: Path) -> None:
    review = opened(kept)
    ask(review, "amend", "blood_pressure", changes={"value": "130/84"})
    record, _ = look(review)
    export(kept, review.id, record, tmp_path / "run.zip")
    with open_archive(tmp_path / "other.sqlite3") as other:
        bring_in(other, tmp_path / "run.zip")
        assert standing_record(other, review.id, LEXICON) == record


ASKED = st.tuples(st.sampled_from(sorted(ACTS)), st.integers(1, 9))
CHANGES = ({"status": "uncertain"}, {"side": "left"}, {"value": "1+"}, {"site": "neck"})


@settings(max_examples=20, deadline=None)
@given(st.lists(ASKED, max_size=12))
def test_any_changes_read_again_come_to_the_same(asked: Sequence[tuple[str, int]]) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "a.sqlite3") as archive:
        review = opened(archive)
        for number, (name, place) in enumerate(asked):
            changes = CHANGES[number % len(CHANGES)] if name == "amend" else None
            try:
                ask(review, name, entry=f"e{place}", reason="a test", changes=changes, sure=True)
            except UsageError:
                continue
        record, _ = look(review)
        assert record == standing_record(archive, review.id, LEXICON)
        assert record == read_again(archive, review.id, LEXICON)
        assert list(faults(archive, review.id)) == []


def test_a_record_of_another_version_is_read_anew_and_says_so(kept: Archive) -> None:
    review = opened(kept)
    before, _ = look(review)
    with kept.resume(review.id) as writer:
        writer.append(("filed", {"lexicon": "v", "record": '{"schema": "crownsole-record/0"}'}))
    record, _ = look(Review(kept, review.id, lambda _: LEXICON))
    assert record.entries() == before.entries()
    assert "another version" in record.run.remarks[-1]
