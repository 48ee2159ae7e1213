"""Packs: their signature, what a record made with another version is told, and what two versions differ in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lexicon import LexiconError, load
from lexicon.comparing import Difference, compare
from lexicon.packs import Pack, differing, signed
from lexicon.schema.pack import PackFile
from parser.audit.checklists import wanted

SAMPLE = Path(__file__).parents[2] / "samples" / "fernhollow_pack"
TERM = (
    "region: neck\nconcepts:\n"
    "  - {id: zorb, label: zorb, forms: [%s], nature: %s, source: C, examples: [no zorb = absent]}"
)
BASE = {
    "pack.yaml": "name: ours\nversion: 1.0.0",
    "findings/neck.yaml": TERM % ("zorb, zorbed", "abnormal"),
    "checklist/ours.yaml": (
        "items:\n  - {id: zorbs, region: neck, label: zorb, say: no zorb, any: [{concepts: [zorb]}], advanced: true,"
        " source: C}\nlists:\n  - {id: ours, title: Ours, based_on: complete, include: [zorbs], source: C}"
    ),
    "rubric.yaml": (
        "rubrics:\n  - {id: ours, title: Ours, checklist: ours, source: C,\n"
        "     steps: [{id: zorbs, points: 2, critical: true}, {id: pupils}]}"
    ),
    "note.yaml": 'templates:\n  - {id: title, text: "Our note"}',
}


def pack(folder: Path, **changed: str | None) -> Path:
    """A pack as :data:`BASE`, with files changed or (None) left out; / is written __ and the suffix left off."""
    files = {**BASE, **{f"{name.replace('__', '/')}.yaml": text for name, text in changed.items()}}
    for name, text in files.items():
        if text is not None:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text + "\n", encoding="utf-8")
    return folder


# ---------------------------------------------------------------------- signature


def test_layout_and_comments_do_not_change_the_signature(tmp_path: Path) -> None:
    one = load([pack(tmp_path / "one")]).signed[0]
    text = "# A comment.\n\nversion: '1.0.0'\n\nname:    ours   # another"
    other = load([pack(tmp_path / "two", pack=text)]).signed[0]
    assert one.sha256 == other.sha256
    assert one.signature == f"ours 1.0.0 sha256:{one.sha256}"
    assert str(tmp_path) not in one.signature


@pytest.mark.parametrize(
    "changed",
    [
        {"pack": "name: ours\nversion: 1.0.1"},
        {"findings__neck": TERM % ("zorb, zorbing", "abnormal")},
        {"findings__neck": TERM % ("zorbed, zorb", "abnormal")},
        {"note": None},
        {"rubric": BASE["rubric.yaml"].replace("points: 2", "points: 3")},
    ],
    ids=["version", "form", "order", "file gone", "points"],
)
def test_any_change_of_content_changes_the_signature(tmp_path: Path, changed: dict[str, str | None]) -> None:
    one, other = load([pack(tmp_path / "one")]).signed[0], load([pack(tmp_path / "two", **changed)]).signed[0]
    assert one.sha256 != other.sha256


@given(st.dictionaries(st.text(min_size=1), st.text() | st.lists(st.text()), max_size=5))
def test_the_order_of_files_and_keys_does_not_matter(content: dict[str, object]) -> None:
    turned = dict(reversed(content.items()))
    manifest = PackFile(name="a", version="1.0.0")
    assert signed("/x/a", manifest, content) == signed("/x/a", manifest, turned)


def test_a_pack_without_a_manifest_is_named_after_its_folder(tmp_path: Path) -> None:
    made = load([pack(tmp_path / "plain", pack=None)]).signed[0]
    assert (made.name, made.version) == ("plain", None)


def test_the_same_pack_is_not_laid_over_twice(tmp_path: Path) -> None:
    with pytest.raises(LexiconError, match="a pack 'ours' is laid over already"):
        load([pack(tmp_path / "one"), pack(tmp_path / "two")])


A, B, C = (Pack("a", version, sha, "/a") for version, sha in (("1.0.0", "11"), ("1.1.0", "22"), ("1.0.0", "33")))


@pytest.mark.parametrize(
    ("then", "now", "told"),
    [
        ((A,), (A,), None),
        ((), (), None),
        ((A,), (B,), "made with the pack a 1.0.0; it is 1.1.0 now"),
        ((A,), (C,), "has other content now under the same version 1.0.0"),
        ((A,), (), "made with the pack a 1.0.0, which is not in use now"),
        ((), (A,), "made without the pack a 1.0.0, which is in use now"),
    ],
)
def test_a_record_of_another_version_is_told(then: tuple[Pack, ...], now: tuple[Pack, ...], told: str | None) -> None:
    sentences = list(differing([one.signature for one in then], now))
    assert len(sentences) == (told is not None)
    assert told is None or told in sentences[0]


def test_a_record_from_before_signatures_says_what_it_cannot_tell() -> None:
    assert "cannot be told" in "".join(differing(["/old/folder"], (A,)))


# ---------------------------------------------------------------------- differences


def differences(tmp_path: Path, **changed: str | None) -> dict[tuple[str, str], Difference]:
    old, new = load([pack(tmp_path / "old")]), load([pack(tmp_path / "new", **changed)])
    return {(one.kind, one.id): one for one in compare(old, new)}


CASES: list[tuple[dict[str, str | None], tuple[str, str], str, bool, str]] = [
    ({"findings__neck": None, "checklist__ours": None, "rubric": None}, ("concept", "zorb"), "removed", True, "gone"),
    ({"findings__neck": TERM % ("zorb", "abnormal")}, ("concept", "zorb"), "changed", True, "without 'zorbed'"),
    (
        {"findings__neck": TERM % ("zorb, zorbed, zorbic", "abnormal")},
        ("concept", "zorb"), "changed", False, "forms with 'zorbic'",
    ),
    (
        {"findings__neck": TERM % ("zorb, zorbed, trachea", "abnormal")},
        ("concept", "zorb"), "changed", True, "'trachea' stood for trachea alone before",
    ),
    (
        {"findings__neck": TERM % ("zorb, zorbed", "normal")},
        ("concept", "zorb"), "changed", True, "nature: abnormal -> normal",
    ),
    (
        {"findings__neck": TERM.replace("label: zorb", "label: a zorb") % ("zorb, zorbed", "abnormal")},
        ("concept", "zorb"), "changed", False, "label: zorb -> a zorb",
    ),
    (
        {"findings__neck": TERM.replace("region: neck", "region: eyes") % ("zorb, zorbed", "abnormal")},
        ("concept", "zorb"), "changed", True, "station: neck -> eyes",
    ),
    (
        {"rubric": BASE["rubric.yaml"].replace("points: 2", "points: 3")},
        ("rubric", "ours"), "changed", True, "step zorbs: points: 2 -> 3",
    ),
    (
        {"rubric": BASE["rubric.yaml"].replace(", critical: true", "")},
        ("rubric", "ours"), "changed", True, "step zorbs: critical: yes -> no",
    ),
    (
        {"rubric": BASE["rubric.yaml"].replace("title: Ours", "title: Our marks")},
        ("rubric", "ours"), "changed", False, "title: Ours -> Our marks",
    ),
    (
        {"rubric": BASE["rubric.yaml"].replace("checklist: ours", "checklist: ours, to_pass: {percent: 80}")},
        ("rubric", "ours"), "changed", True, "to pass percent: 75 -> 80",
    ),
    ({"rubric": None}, ("rubric", "ours"), "removed", True, "gone"),
    ({"checklist__ours": BASE["checklist/ours.yaml"].replace("include: [zorbs]", "include: [zorbs, gcs]")},
     ("checklist", "ours"), "changed", True, "include with 'gcs'"),
    ({"checklist__ours": BASE["checklist/ours.yaml"].replace("say: no zorb", "say: no zorbs")},
     ("checklist item", "zorbs"), "changed", False, "say: no zorb -> no zorbs"),
    (
        {"checklist__more": "items:\n - {id: more, region: neck, label: x, say: x, source: C, any: [{sites: [eye]}]}"},
        ("checklist item", "more"), "added", True, "lists with its station want it",
    ),
    ({"note": None}, ("note templates", "title"), "changed", False, "text: Our note -> Head-to-toe"),
]  # fmt: skip


@pytest.mark.parametrize(("changed", "which", "change", "breaking", "detail"), CASES, ids=[case[4] for case in CASES])
def test_differences_are_told_apart(
    tmp_path: Path, changed: dict[str, str | None], which: tuple[str, str], change: str, breaking: bool, detail: str
) -> None:
    found = differences(tmp_path, **changed)
    one = found[which]
    assert (one.change, one.breaking) == (change, breaking)
    assert detail in "; ".join(text for text, _ in one.details)
    assert "line" in one.where


def test_nothing_differs_from_itself(tmp_path: Path) -> None:
    assert not differences(tmp_path)
    assert not compare(load(), load())


def test_the_sources_of_built_in_terms_stay_their_own() -> None:
    """A pack's file of a station names a source for what stands in it, not for what stood there before."""
    built_in, sample = load(), load([SAMPLE])
    assert sample.concepts["onycholysis"].source == ("FERNHOLLOW",)
    assert [name for name in built_in.concepts if built_in.concepts[name] != sample.concepts[name]] == []


def test_the_sample_pack_only_adds(tmp_path: Path) -> None:
    found = compare(load(), load([SAMPLE]))
    assert {one.change for one in found if one.kind != "note templates"} == {"added"}
    assert not [one for one in found if one.breaking]
    copied = shutil.copytree(SAMPLE, tmp_path / "copy")
    assert load([copied]).signed[0].sha256 == load([SAMPLE]).signed[0].sha256
    assert "swelling_signs" in [item.id for item in wanted(load([SAMPLE]), "fernhollow").items["lower_extremities"]]
