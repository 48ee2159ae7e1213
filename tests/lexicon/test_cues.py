"""The cues file: slips of an editor's pen are refused with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from lexicon import LexiconError, load
from parser.components.cues import cue_book


def pack(tmp_path: Path, text: str) -> Path:
    (tmp_path / "cues.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def test_a_set_that_is_not_given_is_refused(tmp_path: Path) -> None:
    folder = pack(tmp_path, "cues:\n  - id: mine\n    status: absent\n    forms: ['not {sen}']\n")
    with pytest.raises(LexiconError, match=r"cues.yaml, line 2: there is no set 'sen'"):
        load([folder])


def test_a_set_of_phrases_is_refused(tmp_path: Path) -> None:
    folder = pack(tmp_path, "sets:\n  - {id: mine, words: [not seen]}\n")
    with pytest.raises(LexiconError, match=r"line 2: 'not seen' is more than one word"):
        load([folder])


BAD = {"status": "maybe", "side": "behind", "reach": "far", "forms": "no (one"}


@pytest.mark.parametrize(("key", "value"), BAD.items())
def test_a_bad_value_is_refused(tmp_path: Path, key: str, value: str) -> None:
    given = {"id": "mine", "status": "absent", "forms": "nope"} | {key: value}
    lines = "\n    ".join(f"{name}: {word!r}" for name, word in given.items())
    with pytest.raises(LexiconError, match=rf"cues.yaml, line \d+: cues.{key}"):
        load([pack(tmp_path, f"cues:\n  - {lines}\n")])


def test_a_pack_adds_replaces_and_removes(tmp_path: Path) -> None:
    folder = pack(tmp_path, "remove: [without]\ncues:\n  - id: mine\n    status: absent\n    forms: ['nary a']\n")
    base, own = cue_book(load()), cue_book(load([folder]))
    assert [m.cue.id for m in own.find(["nary", "a"])] == ["mine"]
    assert [m.cue.id for m in base.find(["nary", "a"])] == []
    assert not own.find(["without"])
    assert base.find(["without"])
