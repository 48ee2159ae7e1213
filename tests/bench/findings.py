"""Findings and vital signs against sentences that readers of another data set marked.

    python -m tests.bench.findings FILE.jsonl [--run-together] [--predictions OUT.jsonl] [--errors]

FILE has one JSON object a line: ``text``, ``findings`` (``span``, ``start``, ``end``, ``region``,
``status``, ``side``, optionally ``region_alt`` and ``either_status``) and ``vitals`` (``name``,
``value``). A gold finding is found when an entry of ours overlaps its span with the same status,
side and station; every entry of ours matches at most one gold finding. ``--run-together`` gives the
sentences lower case, without punctuation, as one stream. The data set's region names are coarser
than our stations; the table below says which stations answer to each.
"""

from __future__ import annotations

import argparse
import json
import re
from dataclasses import dataclass
from typing import Any

import lexicon as knowledge
from parser.pipeline import understand_all
from parser.record import Entry, Record
from parser.structurer import file
from parser.transcript import transcript_of_text
from tests.shared import lines_of

#: The data set's regions -> our stations.
STATIONS: dict[str, tuple[str, ...]] = {
    "extremities": ("upper_extremities", "lower_extremities", "skin_hair_nails"),
    "abdomen": ("abdomen",),
    "skin": ("skin_hair_nails",),
    "breasts": ("breasts_axillae",),
    "general": ("general_survey", "vital_signs"),
    "cardiovascular": ("heart",),
    "neurological": ("neurological",),
    "head": ("head_face",),
    "eyes": ("eyes",),
    "ears": ("ears",),
    "rectal": ("genitourinary",),
    "psychosocial": ("neurological", "general_survey"),
    "mouth_throat": ("mouth_throat",),
    "lymph_nodes": ("neck", "breasts_axillae", "lower_extremities", "genitourinary", "upper_extremities"),
    "genitourinary": ("genitourinary",),
    "back": ("back_sacrum_lines", "posterior_chest", "musculoskeletal"),
    "nose": ("nose_sinuses",),
    "neck": ("neck",),
    "musculoskeletal": ("musculoskeletal", "upper_extremities", "lower_extremities"),
    "chest": ("anterior_chest", "posterior_chest"),
    "respiratory": ("anterior_chest", "posterior_chest"),
    "heent": ("head_face", "eyes", "ears", "nose_sinuses", "mouth_throat", "neck"),
}
MEASURES = {
    "pulse": "heart_rate",
    "respiratory_rate": "respiratory_rate",
    "spo2": "spo2",
    "temperature": "temperature",
    "blood_pressure": "blood_pressure",
    "blood_glucose": "blood_glucose",
    "height": "height",
    "weight": "weight",
    "pain": "pain_score",
}


@dataclass
class Tally:
    """Counts of one comparison."""

    right: int = 0
    missed: int = 0
    extra: int = 0

    def line(self, name: str) -> str:
        precision = self.right / max(self.right + self.extra, 1)
        recall = self.right / max(self.right + self.missed, 1)
        f1 = 2 * precision * recall / max(precision + recall, 1e-9)
        counts = f"({self.right} right, {self.missed} missed, {self.extra} extra)"
        return f"{name:28} precision {precision:.3f}  recall {recall:.3f}  F1 {f1:.3f}  {counts}"


def record_of(text: str) -> Record:
    transcript = transcript_of_text(text, "bench")
    return file(understand_all(transcript), transcript, knowledge.load(), run_id="bench")


def flattened(text: str) -> tuple[str, list[int]]:
    """Lower case without punctuation, and for each character of ``text`` its place in the result."""
    kept, places = [], []
    for i, char in enumerate(text):
        inside = 0 < i < len(text) - 1 and text[i - 1].isalnum() and text[i + 1].isalnum()
        places.append(len(kept))
        keep = char.isalnum() or char.isspace() or char in "%+°'" or (char in "/.-" and inside)
        kept.append(char.lower() if keep else " ")
    return "".join(kept), places


def stretches(row: dict[str, Any], shift: int, places: list[int] | None) -> list[tuple[int, int, dict[str, Any]]]:
    found = []
    for gold in row["findings"]:
        start, end = gold["start"], gold["end"]
        if places is not None:
            start, end = places[start], places[end - 1] + 1
        found.append((start + shift, end + shift, gold))
    return found


def entries_of(record: Record) -> list[tuple[str, Entry]]:
    """Standing findings, one for each stretch of words and concept."""
    return [
        (region.region, entry)
        for region in record.regions
        for entry in region.entries
        if entry.superseded_by is None and entry.kind in ("finding", "scale", "report", "device")
    ]


def matches(entry: Entry, region: str, gold: dict[str, Any]) -> dict[str, bool]:
    status = "present" if entry.status in ("present", "normal") else entry.status
    names = [gold["region"], *(gold.get("region_alt") or [])]
    side = {"both": "bilateral"}.get(entry.side or "", entry.side)
    return {
        "status": bool(gold.get("either_status")) or status == gold["status"],
        "side": side == gold.get("side"),
        "region": any(region in STATIONS.get(name, (name,)) for name in names),
    }


def compare(
    golds: list[tuple[int, int, dict[str, Any]]],
    ours: list[tuple[str, Entry]],
    tally: dict[str, Tally],
    errors: list[str],
    text: str,
) -> None:
    """Match gold findings with entries: best agreement first, each entry at most once."""
    pairs = []
    for g, (start, end, gold) in enumerate(golds):
        for o, (region, entry) in enumerate(ours):
            a, b = entry.evidence.chars
            overlap = min(end, b) - max(start, a)
            if overlap > 0:
                agreed = matches(entry, region, gold)
                pairs.append((sum(agreed.values()), overlap / max(end - start, b - a), g, o))
    used_gold: dict[int, int] = {}
    used_ours: set[int] = set()
    for _, _, g, o in sorted(pairs, reverse=True):
        if g not in used_gold and o not in used_ours:
            used_gold[g] = o
            used_ours.add(o)
    for g, (_, _, gold) in enumerate(golds):
        found = ours[used_gold[g]] if g in used_gold else None
        agreed = matches(found[1], found[0], gold) if found else {}
        _count(tally["span"], found is not None)
        _count(tally["all"], bool(agreed) and all(agreed.values()))
        for key in ("status", "side", "region"):
            _count(tally[key], bool(agreed.get(key)))
        if not agreed or not all(agreed.values()):
            wrong = ",".join(k for k, v in agreed.items() if not v) if agreed else "not found"
            got = f"{found[1].concept}/{found[1].status}/{found[1].side}/{found[0]}" if found else "-"
            errors.append(
                f"{wrong:12} {gold['span']!r} want {gold['status']}/{gold.get('side')}/{gold['region']} "
                f"got {got} | {text[:160]}"
            )
    for o, (region, entry) in enumerate(ours):
        if o not in used_ours:
            for one in tally.values():
                one.extra += 1
            errors.append(
                f"extra        {entry.concept}/{entry.status}/{region} {entry.evidence.text!r} | {text[:160]}"
            )
    wrong = sum(
        1 for g in used_gold if not all(matches(ours[used_gold[g]][1], ours[used_gold[g]][0], golds[g][2]).values())
    )
    tally["all"].extra += wrong


def _count(tally: Tally, right: bool) -> None:
    if right:
        tally.right += 1
    else:
        tally.missed += 1


def compare_vitals(row: dict[str, Any], record: Record, tally: Tally, marked: Tally, errors: list[str]) -> None:
    """A vital sign is right when a measure of that name has that value; "marked" also takes values to confirm."""
    by_id = record.entries()
    for gold in row.get("vitals", []):
        name = MEASURES.get(gold["name"], gold["name"])
        said = [(m, by_id[m.entry][1]) for m in record.measures.get(name, ())]
        right = any(_same(m.number, m.systolic, m.diastolic, gold["value"]) for m, _ in said)
        _count(tally, right)
        _count(marked, right or any(entry.confirm for _, entry in said))
        if not right:
            errors.append(
                f"vital        {gold['name']}={gold['value']} "
                f"got {[e.value.text for _, e in said if e.value]} | {row['text'][:120]}"
            )


def _same(number: float | None, systolic: float | None, diastolic: float | None, gold: Any) -> bool:
    if systolic is not None and diastolic is not None:
        return str(gold) == f"{systolic:g}/{diastolic:g}"
    return number is not None and re.match(r"^\d+(\.\d+)?$", str(gold)) is not None and abs(number - float(gold)) < 1e-6


def run(
    rows: list[dict[str, Any]], together: bool, predictions: str | None
) -> tuple[dict[str, Tally], Tally, Tally, list[str]]:
    tally = {key: Tally() for key in ("span", "status", "side", "region", "all")}
    vitals, marked = Tally(), Tally()
    errors: list[str] = []
    out: list[dict[str, Any]] = []
    if together:
        _run_together(rows, tally, vitals, marked, errors)
    else:
        for row in rows:
            record = record_of(row["text"])
            compare(stretches(row, 0, None), entries_of(record), tally, errors, row["text"])
            compare_vitals(row, record, vitals, marked, errors)
            out.append(
                {
                    "id": row["id"],
                    "entries": [{"region": r, **e.model_dump(mode="json")} for r, e in entries_of(record)],
                }
            )
    if predictions:
        with open(predictions, "w", encoding="utf-8") as stream:
            stream.writelines(json.dumps(line) + "\n" for line in out)
    return tally, vitals, marked, errors


def _run_together(
    rows: list[dict[str, Any]], tally: dict[str, Tally], vitals: Tally, marked: Tally, errors: list[str]
) -> None:
    text, golds, every = "", [], []
    for row in rows:
        flat, places = flattened(row["text"])
        golds += stretches(row, len(text), places)
        every += row.get("vitals", [])
        text += flat + " "
    record = record_of(text)
    compare(golds, entries_of(record), tally, errors, "")
    compare_vitals({"text": "", "vitals": every}, record, vitals, marked, errors)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("file")
    options.add_argument("--run-together", action="store_true")
    options.add_argument("--predictions")
    options.add_argument("--errors", action="store_true")
    given = options.parse_args()
    tally, vitals, marked, errors = run(list(lines_of(given.file)), given.run_together, given.predictions)
    if given.errors:
        print("\n".join(errors))
    print(tally["span"].line("findings by span"))
    for key in ("status", "side", "region"):
        print(tally[key].line(f"  span and {key}"))
    print(tally["all"].line("findings, all right"))
    print(vitals.line("vital signs by value"))
    print(marked.line("vital signs right or marked"))


if __name__ == "__main__":
    main()
