"""One entry in a few words, to be shown in a line or read back. The note has its own, fuller wording."""

from __future__ import annotations

from lexicon import Lexicon
from parser.record import Entry

_STATUS = {
    "present": "",
    "normal": "normal",
    "absent": "absent",
    "not_assessed": "not assessed",
    "uncertain": "uncertain",
    "history": "in the history",
    "family": "in the family",
}
_UNITS = {"mm[Hg]": "mmHg", "Cel": "°C", "[degF]": "°F", "/min": "a minute", "[in_i]": "in", "[lb_av]": "lb"}
_SIDES = {"left": "left", "right": "right", "both": "both sides", "midline": "midline"}


def in_words(entry: Entry) -> str:
    """ "bruit absent, carotid artery, both sides"; "blood pressure 128/82 mmHg, left arm"."""
    head = entry.label
    if entry.value is not None:
        unit = entry.value.unit
        head += f" {entry.value.text}" + (
            "" if unit is None or unit == "1" else "%" if unit == "%" else f" {_UNITS.get(unit, unit)}"
        )
    status = _STATUS[entry.status]
    if status and status not in head.split():
        head += f" {status}"
    said = ", ".join([head, *entry.qualifiers])
    if entry.site and entry.site not in said:
        said += f", {entry.site}"
    side = _SIDES.get(entry.side or "")
    return f"{said}, {side}" if side and not _says(side, said) else said


def _says(wanted: str, text: str) -> bool:
    return f" {wanted} " in f" {text.replace(',', '')} "


def title(region: str, lexicon: Lexicon) -> str:
    """A station's name for people."""
    known = lexicon.regions.get(region)
    return known.title if known else region.replace("_", " ")


def clock(seconds: float | None) -> str:
    """Seconds of a run as m:ss; empty for None."""
    return "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
