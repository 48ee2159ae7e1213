"""Sentences of an invented complete run, in three voices, and the wrongs that can be planted in it.

Every sentence carries the station and a tag; wrongs leave out, move, replace or add sentences by tag.
No person is meant; the words are common ways of dictating.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path


@dataclass(frozen=True)
class Line:
    """One utterance: its station, its tag, its words, and the silence before it in seconds."""

    station: str
    tag: str
    text: str
    pause: float = 1.0


_SCRIPT = Path(__file__).parent / "data" / "complete_run.tsv"


def script() -> list[tuple[str, str, float, list[str]]]:
    """(station, tag, silence before it in seconds, ways of saying it), in the order of the run."""
    rows = [line.split("\t") for line in _SCRIPT.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return [(station, tag, float(pause), ways.split(" | ")) for station, tag, pause, ways in rows]


def complete(rng: random.Random) -> list[Line]:
    """A complete run: every sentence in one of its ways."""
    return [Line(station, tag, rng.choice(ways), pause) for station, tag, pause, ways in script()]


Lines = list[Line]


@dataclass(frozen=True)
class Wrong:
    """A wrong that can be planted, and the remark it should bring.

    ``rule`` begins the rule name, ``words`` stands in the message. ``also`` are beginnings of rule names
    that may come with it. Wrongs that share a word of ``touches`` are not planted together.
    """

    kind: str
    name: str
    plant: Callable[[Lines], Lines]
    rule: str
    words: str = ""
    also: tuple[str, ...] = ()
    touches: tuple[str, ...] = ()
    timed: bool = False


def without(tag: str) -> Callable[[Lines], Lines]:
    return lambda lines: [line for line in lines if line.tag != tag]


def replaced(tag: str, text: str, pause: float | None = None) -> Callable[[Lines], Lines]:
    return lambda lines: [
        replace(line, text=text, pause=line.pause if pause is None else pause) if line.tag == tag else line
        for line in lines
    ]


def added(after: str, text: str, pause: float = 1.0) -> Callable[[Lines], Lines]:
    def plant(lines: Lines) -> Lines:
        at = next(n for n, line in enumerate(lines) if line.tag == after)
        new = Line(lines[at].station, "added", text, pause)
        return [*lines[: at + 1], new, *lines[at + 1 :]]

    return plant


def moved(tag: str, before: str) -> Callable[[Lines], Lines]:
    def plant(lines: Lines) -> Lines:
        line = next(line for line in lines if line.tag == tag)
        rest = [other for other in lines if other is not line]
        at = next(n for n, other in enumerate(rest) if other.tag == before)
        return [*rest[:at], line, *rest[at:]]

    return plant


def station_moved(station: str, before: str) -> Callable[[Lines], Lines]:
    def plant(lines: Lines) -> Lines:
        block = [line for line in lines if line.station == station]
        rest = [line for line in lines if line.station != station]
        at = next(n for n, other in enumerate(rest) if other.station == before)
        return [*rest[:at], *block, *rest[at:]]

    return plant


def _left_out(tag: str, station: str, label: str) -> Wrong:
    return Wrong("left out", tag, without(tag), f"missing.{station}", label, touches=(tag,))


def _contradicts(name: str, after: str, text: str, rule: str, *also: str) -> Wrong:
    return Wrong("contradiction", name, added(after, text), f"contradiction.{rule}", "", also, (after, name))


WRONGS: tuple[Wrong, ...] = (
    _left_out("hygiene", "preparation", "hand hygiene"),
    _left_out("identify", "preparation", "two identifiers"),
    _left_out("privacy", "preparation", "privacy"),
    _left_out("consent", "preparation", "consent"),
    _left_out("temperature", "vital_signs", "temperature"),
    _left_out("pressure", "vital_signs", "blood pressure"),
    _left_out("pain", "vital_signs", "pain"),
    _left_out("turgor", "skin_hair_nails", "turgor"),
    _left_out("pupils", "eyes", "pupils"),
    _left_out("sclera", "eyes", "sclera"),
    _left_out("hearing", "ears", "hearing"),
    _left_out("mucosa", "mouth_throat", "mucosa"),
    _left_out("carotids", "neck", "carotids"),
    _left_out("trachea", "neck", "trachea"),
    _left_out("jvd", "neck", "neck veins"),
    _left_out("refill", "upper_extremities", "capillary refill"),
    _left_out("radials", "upper_extremities", "radial pulses"),
    _left_out("lungs", "posterior_chest", "breath sounds"),
    _left_out("sounds", "heart", "S1"),
    _left_out("bowel", "abdomen", "bowel sounds"),
    _left_out("urine", "genitourinary", "urine"),
    _left_out("pedals", "lower_extremities", "pedal pulses"),
    _left_out("calves", "lower_extremities", "calves"),
    _left_out("sacrum", "back_sacrum_lines", "sacrum"),
    _left_out("light", "closing", "call light"),
    _left_out("bed", "closing", "bed"),
    Wrong(
        "order",
        "abdomen first",
        station_moved("abdomen", "head_face"),
        "order.stations",
        "Abdomen",
        touches=("s:abdomen",),
    ),
    Wrong(
        "order",
        "legs early",
        station_moved("lower_extremities", "eyes"),
        "order.stations",
        "Lower",
        touches=("s:legs",),
    ),
    Wrong("order", "ears late", station_moved("ears", "genitourinary"), "order.stations", "Ears", touches=("s:ears",)),
    Wrong("order", "neck late", station_moved("neck", "closing"), "order.stations", "Neck", touches=("s:neck",)),
    Wrong("order", "palpation first", moved("palpate", "bowel"), "order.abdomen_order", touches=("bowel", "palpate")),
    Wrong("order", "hands late", moved("hygiene", "skin"), "order.hands_before_touch", touches=("hygiene",)),
    Wrong(
        "order",
        "deep before light",
        added("palpate", "deep palpation of the abdomen then light palpation of the abdomen"),
        "order.light_before_deep",
        touches=("palpate",),
    ),
    Wrong(
        "order",
        "carotids together",
        added("carotids", "palpated both carotid pulses at the same time two plus bilaterally"),
        "order.carotids_together",
        touches=("carotids",),
    ),
    Wrong(
        "too quick",
        "apical",
        added("sounds", "apical pulse seventy two", 8),
        "timing.apical_pulse",
        touches=("apical",),
    ),
    Wrong(
        "too quick",
        "bowel sounds absent",
        replaced("bowel", "bowel sounds absent in all four quadrants", 20),
        "timing.bowel_sounds_absent",
        also=("caution.",),
        touches=("bowel",),
    ),
    Wrong(
        "too quick",
        "respirations",
        replaced("respirations", "respirations sixteen and unlabored", 3),
        "timing.respirations",
        touches=("respirations",),
        timed=True,
    ),
    Wrong(
        "one side", "radial", replaced("radials", "left radial pulse two plus"), "sides.pulses", touches=("radials",)
    ),
    Wrong(
        "one side",
        "pedal",
        replaced("pedals", "right dorsalis pedis pulse two plus"),
        "sides.pulses",
        touches=("pedals",),
    ),
    Wrong(
        "one side",
        "pupil",
        replaced("pupils", "left pupil round and reactive to light"),
        "sides.pupils",
        touches=("pupils",),
    ),
    Wrong(
        "one side",
        "lungs",
        lambda lines: replaced("front", "anterior chest breath sounds clear on the right")(
            replaced("lungs", "breath sounds clear on the right")(lines)
        ),
        "sides.lung_fields",
        touches=("lungs", "front"),
    ),
    Wrong("one side", "calf", replaced("calves", "left calf soft and nontender"), "sides.calves", touches=("calves",)),
    Wrong("one side", "grip", replaced("grips", "right hand grip strong"), "sides.strength", touches=("grips",)),
    Wrong(
        "one side",
        "quadrants",
        replaced("bowel", "bowel sounds active in the right lower quadrant"),
        "sides.quadrants",
        touches=("bowel",),
    ),
    _contradicts(
        "edema",
        "calves",
        "two plus pitting edema of both ankles",
        "",
    ),
    _contradicts("consciousness", "sensation", "glasgow coma scale nine", "alert_low_gcs", "caution.", "range."),
    _contradicts("oxygen", "effort", "on two liters nasal cannula", "room_air_oxygen", "range."),
    _contradicts("murmur", "murmurs", "grade two out of six systolic murmur at the apex", "", "detail."),
    _contradicts("wheeze", "front", "expiratory wheezes bilaterally in both lungs", ""),
    _contradicts("irregular", "murmurs", "heart rhythm irregularly irregular", ""),
    _contradicts("pain", "stool", "pain six out of ten in the abdomen", "", "range."),
    _contradicts("weak arm", "strength", "strength two out of five in the right arm", "", "sides."),
    Wrong(
        "contradiction",
        "pupil sizes",
        replaced(
            "pupils",
            "pupils equal round and reactive to light left pupil three millimeters right pupil five millimeters",
        ),
        "contradiction.equal_pupils",
        touches=("pupils",),
        also=("caution.",),
    ),
    Wrong(
        "cannot be",
        "temperature",
        replaced("temperature", "temperature one hundred forty oral"),
        "implausible.temperature",
        touches=("temperature",),
        also=("confirm",),
    ),
    Wrong(
        "cannot be",
        "pressure turned",
        replaced("pressure", "blood pressure seventy two over one sixteen left arm sitting"),
        "implausible.blood_pressure",
        touches=("pressure",),
        also=("confirm",),
    ),
    Wrong(
        "cannot be",
        "saturation",
        replaced("saturation", "oxygen saturation one hundred eight percent on room air"),
        "implausible.spo2",
        touches=("saturation",),
        also=("confirm",),
    ),
    Wrong(
        "cannot be",
        "pulse",
        replaced("pulse", "heart rate seven hundred"),
        "implausible.heart_rate",
        touches=("pulse",),
        also=("confirm",),
    ),
    Wrong(
        "cannot be",
        "celsius",
        replaced("temperature", "temperature ninety eight point six celsius oral"),
        "unit.temperature",
        touches=("temperature",),
        also=("confirm",),
    ),
    Wrong(
        "abnormal",
        "low saturation",
        replaced("saturation", "oxygen saturation eighty six percent on room air"),
        "caution.saturation_low",
        touches=("saturation",),
        also=("range.news2",),
    ),
    Wrong(
        "abnormal",
        "low pressure",
        replaced("pressure", "blood pressure eighty two over forty eight left arm sitting"),
        "caution.pressure_low",
        touches=("pressure",),
        also=("range.",),
    ),
    Wrong(
        "abnormal",
        "stage 1 reading",
        replaced("pressure", "blood pressure one thirty six over eighty four left arm sitting"),
        "range.pressure_category",
        touches=("pressure",),
    ),
    Wrong("abnormal", "droop", replaced("face", "left facial droop"), "caution.stroke_signs", touches=("face",)),
    Wrong(
        "abnormal",
        "sacral redness",
        replaced("sacrum", "non blanchable redness on the sacrum two by two centimeters stage one"),
        "caution.pressure_injury",
        touches=("sacrum",),
    ),
    Wrong(
        "abnormal",
        "no place of temperature",
        replaced("temperature", "temperature ninety eight point four"),
        "detail.temperature_site",
        touches=("temperature",),
    ),
    Wrong(
        "abnormal",
        "air or oxygen",
        replaced("saturation", "oxygen saturation ninety eight percent"),
        "detail.saturation_air",
        touches=("saturation", "oxygen"),
    ),
)
