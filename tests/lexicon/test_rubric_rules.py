"""Packs with bad rubrics, checklists and manifests: faults have file and line, and nothing is half loaded."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from lexicon import LexiconError, load
from lexicon.rubrics import chain, circle, rubrics, whole

ONE = "rubrics:\n  - {id: ours, title: Ours, %s, source: C}"
STEP = "rubrics:\n  - id: ours\n    title: Ours\n    source: C\n    steps:\n      - {id: pupils}\n      - {%s}"

#: File, content, line, what is told of it.
FAULTS = [
    ("rubric.yaml", ONE % "based_on: complet", 2, "there is no rubric 'complet'; did you mean 'complete'?"),
    ("rubric.yaml", ONE % "checklist: nothing", 2, "there is no checklist 'nothing'"),
    ("rubric.yaml", ONE % "leave_out: [pupil]", 2, "there is no checklist item 'pupil'; did you mean 'pupils'?"),
    ("rubric.yaml", ONE % "part: [tempo]", 2, "there is no family of remarks 'tempo'"),
    ("rubric.yaml", ONE % "share: 1.5", 2, "less than or equal to 1"),
    ("rubric.yaml", ONE % "share: nan", 2, "finite number"),
    ("rubric.yaml", ONE % "to_pass: {percent: 101}", 2, "less than or equal to 100"),
    ("rubric.yaml", ONE % "to_pass: {percent: 0}", 2, "greater than 0"),
    ("rubric.yaml", ONE % "to_pass: {critical: 3}", 2, "cannot be passed: it asks for 3 critical steps and has 0"),
    ("rubric.yaml", ONE % "to_pass: {critical: -1}", 2, "greater than or equal to 0"),
    ("rubric.yaml", ONE % "item_points: {note: 0, attention: 0, urgent: 0}", 2, "it gives no points at all"),
    ("rubric.yaml", ONE % "item_points: {note: -1}", 2, "greater than or equal to 0"),
    ("rubric.yaml", ONE % "deferred: maybe", 2, "'none', 'uncounted' or 'full'"),
    ("rubric.yaml", ONE % "stations: [{id: hart}]", 2, "there is no station 'hart'; did you mean 'heart'?"),
    ("rubric.yaml", ONE % "stations: [{id: heart, weight: -2}]", 2, "greater than or equal to 0"),
    ("rubric.yaml", ONE % "stations: [{id: heart, weight: 0, at_least: 50}]", 2, "can never reach 50 percent"),
    ("rubric.yaml", ONE % "stations: [{id: heart}, {id: heart}]", 2, "'heart' is also at"),
    ("rubric.yaml", "rubrics:\n  - {id: ours, title: Ours}", 2, "'source' is missing"),
    ("rubric.yaml", "rubrics:\n  - {id: ours, title: Ours, source: []}", 2, "at least 1 item"),
    ("rubric.yaml", "rubrics:\n  - {id: ours, title: Ours, source: NOWHERE}", 2, "there is no source 'NOWHERE'"),
    ("rubric.yaml", ONE % "x: 1" + "\n" + "  - {id: ours, title: Again, source: C}", 2, "'x' is not a known key"),
    ("rubric.yaml", "rubrics:\n  - {id: a, title: A, source: C}\n  - {id: a, title: B, source: C}", 3, "is also at"),
    ("rubric.yaml", STEP % "id: pupils", 7, "'pupils' is also at"),
    ("rubric.yaml", STEP % "id: pupills", 7, "there is no checklist item 'pupills'; did you mean 'pupils'?"),
    ("rubric.yaml", STEP % "id: a, item: nothing_such", 7, "there is no checklist item 'nothing_such'"),
    ("rubric.yaml", STEP % "id: heart_sounds, points: -1", 7, "greater than or equal to 0"),
    ("rubric.yaml", STEP % "id: heart_sounds, points: .inf", 7, "valid number"),
    ("rubric.yaml", STEP % "id: heart_sounds, points: inf", 7, "finite number"),
    ("rubric.yaml", STEP % "id: heart_sounds, unless: [order.abdomen_oder]", 7, "no rule 'abdomen_oder' in order.yaml"),
    ("rubric.yaml", STEP % "id: heart_sounds, part: [timing.nothing]", 7, "there is no rule 'nothing' in timing.yaml"),
    ("rubric.yaml", STEP % "id: heart_sounds, source: NOWHERE", 7, "there is no source 'NOWHERE'"),
    ("rubric.yaml", STEP % "id: a, acts: [sing], station: heart, label: A", 7, "there is no act 'sing'"),
    ("rubric.yaml", STEP % "id: a, acts: [bell]", 7, "needs a station and a label"),
    ("rubric.yaml", STEP % "id: a, item: pupils, acts: [bell]", 7, "shown by one of item, any or acts"),
    (
        "rubric.yaml",
        STEP % "id: a, any: [{concepts: [murmurr]}], station: heart, label: A",
        7,
        "there is no concept 'murmurr'; did you mean 'murmur'?",
    ),
    ("rubric.yaml", STEP % "id: a, any: [{sites: [hart]}], station: heart, label: A", 7, "there is no site 'hart'"),
    (
        "rubric.yaml",
        "rubrics:\n  - {id: a, title: A, based_on: b, source: C}\n  - {id: b, title: B, based_on: a, source: C}",
        2,
        "the rubric 'a' is based on itself (a -> b -> a)",
    ),
    (
        "checklist/ours.yaml",
        "lists:\n  - {id: a, title: A, based_on: b, source: C}\n  - {id: b, title: B, based_on: a, source: C}",
        3,
        "the checklist 'b' is based on itself (b -> a -> b)",
    ),
    ("checklist/ours.yaml", "lists:\n  - {id: a, title: A, based_on: a, source: C}", 2, "based on itself (a -> a)"),
    ("pack.yaml", "name: Our School\nversion: 1.0.0", 1, "lower-case letters, digits, - and _"),
    ("pack.yaml", "name: ours\nversion: 1.0", 2, "a version is three numbers"),
    ("pack.yaml", "name: ours\nversion: 01.0.0", 2, "a version is three numbers"),
    ("pack.yaml", "name: ours", 1, "'version' is missing"),
    ("pack.yaml", "name: ours\nversion: 1.0.0\nauthor: x", 3, "'author' is not a known key"),
    ("pack.yaml", "name: ours\nname: theirs\nversion: 1.0.0", 2, "'name' is given twice"),
]


@pytest.mark.parametrize(("name", "text", "line", "message"), FAULTS, ids=[fault[3][:50] for fault in FAULTS])
def test_faults_are_named_with_file_and_line(tmp_path: Path, name: str, text: str, line: int, message: str) -> None:
    path = tmp_path / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n", encoding="utf-8")
    before = load()
    with pytest.raises(LexiconError) as caught:
        load([tmp_path])
    told = [fault for fault in caught.value.faults if fault.startswith(f"{path}, line {line}: ")]
    assert any(message in fault for fault in told), caught.value.faults
    assert load() is before
    assert "ours" not in rubrics(before)


def test_a_rubric_takes_the_rest_from_the_one_it_is_based_on(tmp_path: Path) -> None:
    (tmp_path / "rubric.yaml").write_text(
        "rubrics:\n"
        "  - {id: base, title: Base, share: 0.25, part: [sides], to_pass: {percent: 60}, source: C,\n"
        "     steps: [{id: pupils, points: 4}, {id: carotids, points: 3}], stations: [{id: heart, weight: 2}]}\n"
        "  - {id: ours, title: Ours, based_on: base, source: C, leave_out: [carotids],\n"
        "     steps: [{id: pupils, points: 5}, {id: trachea}], stations: [{id: heart, weight: 3}, {id: eyes}]}\n",
        encoding="utf-8",
    )
    known = rubrics(load([tmp_path]))
    made = whole(list(chain(known, "ours")))
    assert (made.title, made.share, made.part, made.to_pass.percent) == ("Ours", 0.25, ("sides",), 60)
    assert {step.id: step.points for step in made.steps} == {"pupils": 5, "trachea": 1}
    assert {station.id: station.weight for station in made.stations} == {"heart": 3, "eyes": 1}


class Link:
    def __init__(self, name: str, based_on: str | None) -> None:
        self.id, self.based_on = name, based_on


@given(st.dictionaries(st.sampled_from("abcdef"), st.none() | st.sampled_from("abcdefg"), max_size=6))
def test_chains_end_and_every_circle_is_found(based: dict[str, str | None]) -> None:
    known = {name: Link(name, on) for name, on in based.items()}
    for name in known:
        names = [link.id for link in chain(known, name)]
        assert len(names) == len(set(names))
        here, steps = based[name], 0
        while here in based and here != name and steps < 10:
            here, steps = based[here], steps + 1
        assert (circle(known, name) is not None) == (here == name)


def test_every_key_that_the_head_of_the_file_explains_exists() -> None:
    from lexicon import DATA
    from lexicon.schema.rubric import Rubric, Step

    text = (DATA / "rubric.yaml").read_text(encoding="utf-8")
    heads = [line[1:].split() for line in text.splitlines() if line.startswith("#     ") and line[6] != " "]
    told = {head[0].strip(",") for head in heads}
    assert told - {"id"} <= set(Rubric.model_fields) | {"title"}
    used = {key for rubric in yaml.safe_load(text)["rubrics"] for step in rubric.get("steps", ()) for key in step}
    assert used <= set(Step.model_fields)
