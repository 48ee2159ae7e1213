"""Stations against worked examinations of nursing textbooks, grouped by body system.

    python -m tests.bench.regions FILE.jsonl [--no-heading] [--errors]

Each line has ``label`` (the heading as printed), ``region`` and ``text``. The text is read after its
heading, as dictated; with ``--no-heading`` without it. Counted are entries filed under a station of the
body system (table below), and lines in which every entry is.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import Any

from tests.bench.findings import entries_of, record_of
from tests.shared import lines_of

_LIMBS = ("upper_extremities", "lower_extremities")
#: The data set's systems -> our stations.
SYSTEMS: dict[str, tuple[str, ...]] = {
    "cardiovascular": ("heart", *_LIMBS, "neck", "vital_signs", "skin_hair_nails"),
    "respiratory": ("posterior_chest", "anterior_chest", "vital_signs"),
    "skin": ("skin_hair_nails", "back_sacrum_lines", *_LIMBS),
    "heent": ("head_face", "eyes", "ears", "nose_sinuses", "mouth_throat", "neck"),
    "abdomen": ("abdomen",), "genitourinary": ("genitourinary",),
    "neurological": ("neurological", "general_survey", "eyes"),
    "musculoskeletal": ("musculoskeletal", *_LIMBS),
}


def judged(rows: Iterable[dict[str, Any]], heading: bool) -> tuple[int, int, int, int, list[str]]:
    """Entries, entries right, lines with entries, lines all right, and what went wrong."""
    entries = right = lines = clean = 0
    wrong: list[str] = []
    for row in rows:
        text = f"{row['label']}: {row['text']}" if heading else row["text"]
        found = entries_of(record_of(text))
        fits = [region in SYSTEMS[row["region"]] for region, _ in found]
        entries, right = entries + len(fits), right + sum(fits)
        lines, clean = lines + bool(fits), clean + (bool(fits) and all(fits))
        wrong += [f"{row['region']:16} {region:18} {entry.concept:24} {entry.evidence.text[:60]!r} | {text[:90]}"
                  for (region, entry), fit in zip(found, fits, strict=True) if not fit]
    return entries, right, lines, clean, wrong


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("file")
    options.add_argument("--no-heading", action="store_true")
    options.add_argument("--errors", action="store_true")
    given = options.parse_args()
    entries, right, lines, clean, wrong = judged(lines_of(given.file), not given.no_heading)
    if given.errors:
        print("\n".join(wrong))
    print(f"entries under a station of their system {right}/{entries} {right / max(entries, 1):.3f}")
    print(f"lines with every entry so               {clean}/{lines} {clean / max(lines, 1):.3f}")


if __name__ == "__main__":
    main()
