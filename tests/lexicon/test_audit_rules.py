"""Packs with bad rules: each fault is named with file and line, and nothing is half loaded."""

from __future__ import annotations

from pathlib import Path

import pytest

from lexicon import LexiconError, load
from parser.audit.checklists import wanted

ITEM = "{id: %s, region: heart, label: x, say: x, any: [{concepts: [%s]}], source: C}"


def faults_of(folder: Path, name: str, text: str) -> str:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(LexiconError) as caught:
        load([folder])
    return "\n".join(caught.value.faults)


@pytest.mark.parametrize(
    ("name", "text", "line", "message"),
    [
        (
            "checklist/ours.yaml",
            "items:\n  - " + ITEM % ("ours", "murmurr"),
            2,
            "there is no concept 'murmurr'; did you mean 'murmur'?",
        ),
        (
            "cautions.yaml",
            "cautions:\n  - {id: a, title: A, any: [{sites: [hart]}], source: C}",
            2,
            "there is no site 'hart'",
        ),
        (
            "checklist/ours.yaml",
            "items:\n  - {id: a, region: hart, label: x, say: x, any: [{concepts: [murmur]}], source: C}",
            2,
            "there is no station 'hart'; did you mean 'heart'?",
        ),
        (
            "sides.yaml",
            "pairs:\n  - {id: a, label: A, any: [{concepts: [pulse]}], source: NOWHERE}",
            2,
            "there is no source 'NOWHERE'",
        ),
        ("sides.yaml", "pairs:\n  - {id: a, label: A, any: [{concepts: [pulse]}]}", 2, "'source' is missing"),
        (
            "sides.yaml",
            "pairs:\n  - {id: a, label: A, any: [{concepts: [pulse]}], source: []}",
            2,
            "a rule needs a source",
        ),
        (
            "details.yaml",
            "details:\n  - {id: a, label: A, when: [{words: [x]}], source: C}",
            2,
            "a matcher needs concepts, sites or regions",
        ),
        (
            "details.yaml",
            "details:\n  - {id: a, label: A, when: [{concepts: [pulse], atleast: 3}], source: C}",
            2,
            "'atleast' is not a known key",
        ),
        (
            "cautions.yaml",
            "cautions:\n  - {id: a, title: A, any: [{concepts: [spo2], at_least: 95, below: 90}], source: C}",
            2,
            "no number is at least 95 and at most 90",
        ),
        (
            "order.yaml",
            "sequences:\n  - {id: back, acts: [palpate_abdomen, inspect_abdomen], source: C}",
            2,
            "closes a circle",
        ),
        (
            "order.yaml",
            "sequences:\n  - {id: odd, acts: [palpate_abdomen, sing], source: C}",
            2,
            "there is no act 'sing'",
        ),
        (
            "ranges.yaml",
            "ranges:\n  - {id: mine, measure: heart_rate, ages: [adult], unit: /min, low: 50, high: 90, source: C}",
            2,
            "the range 'mine' overlaps 'heart_rate_adult'",
        ),
        (
            "ranges.yaml",
            "ages:\n  - {id: teen, label: a teen, from_years: 13, to_years: 20, source: C}",
            2,
            "the age band 'teen' overlaps",
        ),
        (
            "ranges.yaml",
            "ranges:\n  - {id: mine, measure: weight, ages: [adult], unit: kg, low: 90, high: 50, source: C}",
            2,
            "low (90.0) is above high (50.0)",
        ),
        (
            "scores.yaml",
            "tables:\n  - {id: t, title: T, source: C, rows: [{at_most: 5, label: a}, {at_least: 5, label: b}]}",
            2,
            "the bands 'a' and 'b' of 't' overlap",
        ),
        (
            "checklist/ours.yaml",
            "lists:\n  - {id: ours, title: Ours, leave_out: [nonsense], source: C}",
            2,
            "there is no checklist item 'nonsense'",
        ),
        (
            "contradictions.yaml",
            "kinds:\n  - {id: murmur, of: [humming], source: C}",
            2,
            "there is no concept 'humming'",
        ),
    ],
)
def test_faults_are_named_with_file_and_line(tmp_path: Path, name: str, text: str, line: int, message: str) -> None:
    faults = faults_of(tmp_path, name, text + "\n")
    assert f"{tmp_path / name}, line {line}: " in faults
    assert message in faults


def test_a_faulty_pack_is_not_half_loaded(tmp_path: Path) -> None:
    """Every fault is named, the good file beside the bad ones counts for nothing, and mended it loads."""
    (tmp_path / "sides.yaml").write_text(
        "pairs:\n  - {id: mine, label: Mine, any: [{concepts: [pulse]}], source: C}\n", encoding="utf-8"
    )
    bad = "details:\n  - {id: a, label: A, when: [{concepts: [nonsense]}], source: C}\n"
    faults = faults_of(tmp_path, "details.yaml", bad)
    worse = "never:\n  - {id: b, message: B, any: [{sites: [nowhere]}], source: C}\n"
    faults_again = faults_of(tmp_path, "order.yaml", worse)
    assert "nonsense" in faults
    assert "nonsense" in faults_again
    assert "nowhere" in faults_again
    assert "mine" not in {pair.id for pair in load().files["sides"].pairs}  # type: ignore[attr-defined]
    (tmp_path / "details.yaml").unlink()
    (tmp_path / "order.yaml").unlink()
    assert "mine" in {pair.id for pair in load([tmp_path]).files["sides"].pairs}  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("mishearings:\n  - {id: a, heard: [x], read_as: y, then: sometime}", "then"),
        ("mishearings:\n  - {id: a, heard: [x]}", "'read_as' is missing"),
        ("mishearings:\n  - {id: a, heard: [x], read_as: y, befor: [z]}", "'befor' is not a known key"),
    ],
)
def test_a_bad_mishearing_is_named_with_file_and_line(tmp_path: Path, text: str, message: str) -> None:
    faults = faults_of(tmp_path, "mishearings.yaml", text + "\n")
    assert f"{tmp_path / 'mishearings.yaml'}, line 2: " in faults
    assert message in faults


def test_a_pack_adds_removes_reorders_and_weighs(tmp_path: Path) -> None:
    (tmp_path / "checklist").mkdir()
    (tmp_path / "checklist" / "school.yaml").write_text(
        "items:\n"
        "  - {id: watch, region: heart, label: watch, say: watch checked, any: [{concepts: [murmur]}], source: C}\n"
        "lists:\n"
        "  - {id: school, title: Our school, based_on: complete, stations: [heart, eyes], include: [apical_rate],\n"
        "     leave_out: [murmurs], weigh: {watch: 3}, source: C}\n"
        "remove: [heart_sounds]\n",
        encoding="utf-8",
    )
    found = wanted(load([tmp_path]), "school")
    assert found.stations == ("heart", "eyes")
    assert [item.id for item in found.items["heart"]] == ["heart_rhythm", "apical_rate", "watch"]
    assert found.factors == {"watch": 3.0}


def test_every_list_can_be_taken() -> None:
    lexicon = load()
    for entry in lexicon.files["checklist"].lists:  # type: ignore[attr-defined]
        found = wanted(lexicon, entry.id)
        assert any(found.items.values()), entry.id
        assert set(found.stations) <= set(lexicon.regions)
