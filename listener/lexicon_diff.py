"""What a pack, or a new version of it, changes: told as text or as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap

from lexicon import Lexicon
from lexicon.comparing import Difference, compare
from lexicon.packs import Pack
from listener.errors import InputError
from listener.runs import Options, lexicon_of

SCHEMA = "crownsole-lexicon-diff/1"
_WIDTH = 88
_SIGNS = {"added": "+", "removed": "-", "changed": "~"}


@dataclass(frozen=True, slots=True)
class Compared:
    """``before`` None: the built-in lexicon alone."""

    before: Pack | None
    after: Pack
    differences: tuple[Difference, ...]

    @property
    def breaking(self) -> tuple[Difference, ...]:
        return tuple(difference for difference in self.differences if difference.breaking)

    @property
    def advice(self) -> str | None:
        """What the version of the new pack should say and does not."""
        if self.before is None or self.before.version is None or self.after.version is None:
            return None
        if self.before.sha256 == self.after.sha256:
            return None
        old, new = _numbers(self.before.version), _numbers(self.after.version)
        if new <= old:
            wanted = (old[0] + 1, 0, 0) if self.breaking else (old[0], old[1] + 1, 0)
            return f"The content differs: raise the version, for instance to {'.'.join(map(str, wanted))}."
        if self.breaking and new[0] == old[0] and new[0] > 0:
            return f"Runs made before would come out otherwise: raise the first number, to {old[0] + 1}.0.0."
        return None


def compared(one: Path, other: Path | None) -> Compared:
    """A pack against the built-in lexicon, or two versions of one.

    Raises :class:`LexiconInvalid` and :class:`InputError`.
    """
    for folder in (one, other):
        if folder is not None and not folder.is_dir():
            raise InputError(f"There is no folder {folder}. A pack is a folder of lexicon files.")
    if other is None:
        after = lexicon_of(Options((str(one),)))
        return Compared(None, after.signed[0], compare(lexicon_of(Options()), after))
    before, after = lexicon_of(Options((str(one),))), lexicon_of(Options((str(other),)))
    return Compared(before.signed[0], after.signed[0], compare(before, after))


def as_text(found: Compared) -> str:
    """Breaking differences first, each with file and line."""
    breaking = found.breaking
    others = [difference for difference in found.differences if not difference.breaking]
    parts = [[f"{_title(found.before)} -> {_title(found.after)}"]]
    if not found.differences:
        parts.append(["Nothing differs."])
    if breaking:
        parts.append([f"RUNS MADE BEFORE WOULD COME OUT OTHERWISE ({len(breaking)})", *_lines(breaking)])
    if others:
        parts.append([f"ADDED, OR TOLD IN OTHER WORDS ({len(others)})", *_lines(others)])
    if found.advice:
        parts.append(wrap(found.advice, _WIDTH))
    return "\n\n".join("\n".join(lines) for lines in parts) + "\n"


def _title(pack: Pack | None) -> str:
    return "the built-in lexicon" if pack is None else f"{pack.name} {pack.version or '(no version)'}"


def _lines(differences: Sequence[Difference]) -> Iterator[str]:
    for one in differences:
        details = "; ".join(text for text, _ in one.details)
        yield from wrap(f"{_SIGNS[one.change]} {one.kind} {one.id}: {details}", _WIDTH, subsequent_indent="    ")
        if one.where:
            yield f"    {one.where}"


def as_json(found: Compared) -> str:
    return json.dumps(
        {
            "schema": SCHEMA,
            "before": found.before.signature if found.before else None,
            "after": found.after.signature,
            "breaking": len(found.breaking),
            "advice": found.advice,
            "differences": [
                {
                    "kind": one.kind,
                    "id": one.id,
                    "change": one.change,
                    "breaking": one.breaking,
                    "details": [{"text": text, "breaking": breaks} for text, breaks in one.details],
                    "where": one.where,
                }
                for one in found.differences
            ],
        },
        ensure_ascii=False,
    )


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(map(int, version.split(".")))


def check_rubrics(lexicon: Lexicon) -> tuple[str, ...]:
    """Faults of rubrics that only show when they are put together with their checklist."""
    from lexicon.rubrics import rubrics
    from parser.marking import rubric_of

    faults = []
    for name in rubrics(lexicon):
        try:
            rubric_of(lexicon, name)
        except ValueError as error:
            faults.append(str(error))
    return tuple(faults)
