"""Vital signs read from development data: how many names and values come out right.

Run: ``python -m tests.bench.vitals [-v]``. Sources: vital signs printed in OpenStax nursing titles (CC BY 4.0),
sample dictations of MTSamples (as republished, CC0), and examinations as spoken in ACI-Bench (Yim et al.,
Scientific Data 2023, CC BY 4.0) against the vital signs of the note written from them.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from time import perf_counter

from lexicon import load
from parser.components.measures import find_slot_values
from parser.components.numbers import find_numbers
from parser.components.terms import find_terms
from parser.layers import SlotValue
from parser.tokens import tokenise
from tests.shared import SHARED, lines_of

NAMES = {"pulse": "heart_rate", "pain": "pain_score"}
#: Headings in the notes of ACI-Bench -> our measures.
NOTE_NAMES = (
    (r"blood pressure|bp", "blood_pressure"),
    (r"heart rate|hr|pulse(?! ox)", "heart_rate"),
    (r"resp\w*(?: rate)?|rr", "respiratory_rate"),
    (r"oxygen saturation|o2 saturation|spo2|pulse oxygenation|oxygenation", "spo2"),
    (r"(?:body )?temperature(?: in \w+ today)?", "temperature"),
    (r"height", "height"),
    (r"weight", "weight"),
)


@dataclass(frozen=True)
class Case:
    """A text and one value that stands in it."""

    id: str
    text: str
    name: str
    value: str


def values_in(text: str) -> tuple[SlotValue, ...]:
    """What the pipeline's number, term and value components find in a text."""
    lexicon = load()
    tokens = tokenise(text)
    numbers = find_numbers(tokens, lexicon)
    return find_slot_values(tokens, find_terms(tokens, numbers, lexicon), numbers, (), lexicon)


def said_value(found: SlotValue) -> str:
    return found.value.text.removesuffix("/10") if found.measure == "pain_score" else found.value.text


def openstax() -> Iterator[Case]:
    """Label and value as printed, one case a line; the first figure is the value."""
    assert SHARED is not None
    for line in lines_of(SHARED / "data/text/openstax_vitals.jsonl"):
        name = NAMES.get(line["name"], line["name"])
        figure = re.match(r"\d+'\d+|[\d.]+(?:[/–-]\d+)?", line["value"])
        assert figure is not None
        value = figure.group().replace("–", "-")
        value = value + '"' if name == "height" else (value.split("/")[0] if name == "pain_score" else value)
        yield Case(line["id"], f"{line['label']}: {line['value']}", name, value)


def openstax_together() -> Iterator[Case]:
    """The same, the vital signs of one person in one line, as a nurse would read them out."""
    assert SHARED is not None
    by_case: dict[str, list[Case]] = {}
    for case in openstax():
        by_case.setdefault(case.id.rsplit("-", 1)[0], []).append(case)
    for cases in by_case.values():
        text = " ".join(case.text.replace(":", "") for case in cases).lower()
        yield from (Case(case.id, text, case.name, case.value) for case in cases)


def gold() -> Iterator[Case]:
    assert SHARED is not None
    for line in lines_of(SHARED / "data/text/exam_gold_dev.jsonl"):
        for vital in line["vitals"]:
            yield Case(line["id"], line["text"], NAMES.get(vital["name"], vital["name"]), str(vital["value"]))


def spoken() -> Iterator[Case]:
    """Values of the note whose figures were spoken: the others were never said."""
    assert SHARED is not None
    for line in lines_of(SHARED / "data/text/spoken_exam_dev.jsonl"):
        for pattern, name in NOTE_NAMES:
            found = re.search(
                rf"\b(?:{pattern})\b:?\s*(?:is |of |was )?(\d+[’']\d+|\d+(?:\.\d+)?(?:/\d+)?)",
                line["vitals_note"],
                re.I,
            )
            if found:
                value = found.group(1).replace("’", "'") + ('"' if name == "height" else "")
                yield Case(line["id"], " ".join(line["said"]), name, value)


def right(case: Case, found: tuple[SlotValue, ...]) -> bool:
    return any(value.measure == case.name and said_value(value) == case.value for value in found)


def marked(case: Case, found: tuple[SlotValue, ...]) -> bool:
    """Whether a wrong value at least carries a doubt."""
    own = [value for value in found if value.measure == case.name]
    return bool(own) and all(value.doubts for value in own)


def said(case: Case) -> bool:
    """Whether any number of the text can be read as the value at all."""
    numbers = find_numbers(tokenise(case.text), load())
    return any(reading.text == case.value for number in numbers for reading in number.readings)


def main() -> None:
    """Print the share of right values for each set."""
    if SHARED is None:
        sys.exit("development data absent: set CROWNSOLE_SHARED to its folder")
    load()
    for title, cases in (
        ("OpenStax, one by one", openstax),
        ("OpenStax, run together", openstax_together),
        ("MTSamples gold", gold),
        ("ACI-Bench, spoken against note", spoken),
    ):
        rows, started = list(cases()), perf_counter()
        results = [(case, values_in(case.text)) for case in rows]
        wrong = [(case, found) for case, found in results if not right(case, found)]
        silent = sum(not marked(case, found) for case, found in wrong)
        unsaid = sum(not said(case) for case, _ in wrong)
        share = 1 - len(wrong) / len(rows)
        print(
            f"{title:32} {len(rows) - len(wrong):4}/{len(rows):<4} {share:.3f}  wrong and not marked {silent - unsaid}"
            f"  in no words of the text {unsaid}  {perf_counter() - started:.2f} s"
        )
        if "-v" in sys.argv:
            for case, found in wrong:
                print(
                    "   ",
                    case.id,
                    case.name,
                    case.value,
                    "| got",
                    [(v.measure, said_value(v), v.doubts) for v in found][:8],
                    "|",
                    case.text[:110],
                )


if __name__ == "__main__":
    main()
