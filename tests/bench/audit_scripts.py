"""Sentences of an invented complete run, in three voices, and the wrongs that can be planted in it.

Every sentence carries the station and a tag; wrongs leave out, move, replace or add sentences by tag.
No person is meant; the words are common ways of dictating.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Line:
    """One utterance: its station, its tag, its words, and the silence before it in seconds."""

    station: str
    tag: str
    text: str
    pause: float = 1.0


#: (station, tag, pause, ways of saying it)
BASE: tuple[tuple[str, str, float, tuple[str, ...]], ...] = (
    ("preparation", "supplies", 1, ("supplies gathered", "gathered my supplies and cleaned the stethoscope", "equipment is at the bedside")),
    ("preparation", "hygiene", 1, ("hand hygiene performed", "i washed my hands", "performed hand hygiene")),
    ("preparation", "introduce", 1, ("introduced myself and my role", "introducing myself", "introduced self and role")),
    ("preparation", "identify", 1, ("name and date of birth verified", "two identifiers checked", "identified the patient with two identifiers")),
    ("preparation", "consent", 1, ("procedure explained and verbal consent obtained", "explained the assessment", "verbal consent obtained")),
    ("preparation", "privacy", 1, ("privacy provided", "closed the curtain", "door closed for privacy")),
    ("preparation", "allergies", 1, ("allergies verified", "no known drug allergies", "allergies were reviewed")),
    ("preparation", "position", 1, ("patient positioned", "patient is sitting upright", "positioned the patient")),
    ("preparation", "airway", 1, ("airway patent", "airway breathing and circulation intact", "abcs are intact")),
    ("general_survey", "alert", 1, ("general survey alert and oriented times four", "general appearance alert and oriented times four", "alert and oriented times four")),
    ("general_survey", "appearance", 1, ("appears stated age and well groomed", "well nourished and well groomed", "appears stated age")),
    ("general_survey", "distress", 1, ("no acute distress", "in no distress", "in no acute distress")),
    ("general_survey", "speech", 1, ("speech clear and affect appropriate", "cooperative with appropriate affect", "calm and cooperative speech clear")),
    ("vital_signs", "temperature", 1, ("vital signs temperature ninety eight point four oral", "vitals temp thirty six point eight oral", "temperature ninety eight point two tympanic")),
    ("vital_signs", "pulse", 31, ("heart rate seventy four and regular", "pulse seventy two regular", "heart rate sixty eight")),
    ("vital_signs", "respirations", 31, ("respirations sixteen and unlabored", "respiratory rate fourteen", "respirations eighteen")),
    ("vital_signs", "pressure", 1, ("blood pressure one sixteen over seventy two left arm sitting", "b p one eighteen over seventy six right arm sitting", "blood pressure one twelve over seventy left arm lying")),
    ("vital_signs", "saturation", 1, ("oxygen saturation ninety eight percent on room air", "sats ninety seven percent on room air", "pulse ox ninety nine percent on room air")),
    ("vital_signs", "pain", 1, ("pain zero out of ten", "denies pain", "pain is zero out of ten")),
    ("skin_hair_nails", "skin", 1, ("skin warm dry and intact", "skin is warm and dry and intact", "skin warm and dry no lesions")),
    ("skin_hair_nails", "color", 1, ("skin color appropriate for ethnicity", "skin pink", "skin color even")),
    ("skin_hair_nails", "turgor", 1, ("skin turgor good", "good skin turgor no tenting", "skin turgor elastic")),
    ("skin_hair_nails", "hair", 1, ("hair evenly distributed and nails smooth", "no clubbing of the nails", "nails smooth without clubbing")),
    ("head_face", "head", 1, ("head normocephalic", "head is normocephalic and atraumatic", "normocephalic atraumatic")),
    ("head_face", "face", 1, ("face symmetric", "face is symmetrical", "no facial droop")),
    ("eyes", "pupils", 1, ("pupils equal round and reactive to light and accommodation", "perrla", "pupils are equal round and reactive to light")),
    ("eyes", "sclera", 1, ("sclera white conjunctiva pink", "sclera white", "conjunctiva pink and sclera white")),
    ("eyes", "movements", 1, ("extraocular movements intact", "extraocular movements are intact", "e o m i")),
    ("ears", "ears", 1, ("ears symmetric without drainage", "no drainage from the ears", "no ear drainage")),
    ("ears", "hearing", 1, ("hearing intact bilaterally", "hears whispered words bilaterally", "hearing is intact")),
    ("nose_sinuses", "nares", 1, ("nares patent bilaterally", "nares are patent", "both nares patent")),
    ("nose_sinuses", "septum", 1, ("nasal septum midline", "septum midline", "septum is midline")),
    ("nose_sinuses", "sinuses", 1, ("sinuses nontender", "frontal and maxillary sinuses nontender", "no sinus tenderness")),
    ("mouth_throat", "mucosa", 1, ("oral mucosa pink and moist", "oral mucosa is pink and moist", "oral mucosa moist and pink")),
    ("mouth_throat", "teeth", 1, ("teeth intact and gums pink", "gums pink", "dentition intact")),
    ("mouth_throat", "tongue", 1, ("tongue midline and uvula rises midline", "tongue midline", "uvula midline tongue midline")),
    ("mouth_throat", "tonsils", 1, ("tonsils one plus without exudate", "gag intact", "tonsils one plus")),
    ("neck", "trachea", 1, ("trachea midline", "neck trachea midline", "trachea is midline")),
    ("neck", "nodes", 1, ("no lymphadenopathy", "no cervical lymphadenopathy", "lymph nodes not palpable")),
    ("neck", "thyroid", 1, ("thyroid not enlarged", "thyroid is not enlarged", "no thyroid enlargement")),
    ("neck", "jvd", 1, ("no jugular venous distension at forty five degrees", "no j v d at forty five degrees", "no jvd at thirty degrees")),
    ("neck", "carotids", 1, ("carotid pulses two plus bilaterally one at a time", "carotids two plus bilaterally no bruits", "carotid pulses two plus bilaterally")),
    ("upper_extremities", "arms", 1, ("upper extremities warm without edema", "no edema of the arms", "upper extremities warm no edema")),
    ("upper_extremities", "radials", 1, ("radial pulses two plus bilaterally", "radial pulses are two plus and equal bilaterally", "radial pulses two plus on both sides")),
    ("upper_extremities", "refill", 1, ("capillary refill less than two seconds", "cap refill less than two seconds in both hands", "capillary refill is less than two seconds")),
    ("upper_extremities", "grips", 1, ("hand grips strong and equal", "hand grips equal and strong", "grips strong bilaterally")),
    ("posterior_chest", "chest", 1, ("posterior chest thorax symmetric", "thorax symmetric", "posterior thorax symmetric no deformity")),
    ("posterior_chest", "effort", 1, ("respirations even and unlabored", "breathing even and unlabored", "no accessory muscle use")),
    ("posterior_chest", "lungs", 1, ("lungs clear to auscultation bilaterally", "breath sounds clear bilaterally", "lung sounds clear bilaterally")),
    ("anterior_chest", "front", 1, ("anterior chest breath sounds clear bilaterally", "anterior breath sounds clear bilaterally", "anterior lung fields clear bilaterally")),
    ("heart", "sounds", 1, ("s one and s two audible", "heart sounds s one s two heard", "cardiac s one and s two")),
    ("heart", "rhythm", 1, ("regular rate and rhythm", "rate and rhythm regular", "heart regular rate and rhythm")),
    ("heart", "murmurs", 1, ("no murmurs rubs or gallops", "no murmur", "no murmurs gallops or rubs")),
    ("breasts_axillae", "breasts", 1, ("breast exam deferred", "breast examination deferred", "breast exam deferred")),
    ("abdomen", "inspect", 1, ("abdomen flat and symmetric", "abdomen is flat", "abdomen rounded without distension")),
    ("abdomen", "bowel", 1, ("bowel sounds active in all four quadrants", "bowel sounds present in all four quadrants", "normoactive bowel sounds in all four quadrants")),
    ("abdomen", "palpate", 1, ("abdomen soft and nontender", "soft and nontender to palpation", "abdomen soft nontender no masses")),
    ("abdomen", "stool", 1, ("last bowel movement yesterday", "last bowel movement this morning", "passing flatus")),
    ("genitourinary", "urine", 1, ("voiding clear yellow urine", "urine clear and yellow", "voiding without difficulty")),
    ("genitourinary", "bladder", 1, ("bladder not distended", "no bladder distension", "bladder is not distended")),
    ("genitourinary", "genital", 1, ("genital exam deferred", "genital examination deferred", "genital exam deferred at patient request")),
    ("lower_extremities", "legs", 1, ("lower extremities warm", "both legs warm", "legs warm and pink")),
    ("lower_extremities", "edema", 1, ("no edema of the lower extremities", "no edema in the legs", "no peripheral edema")),
    ("lower_extremities", "pedals", 1, ("dorsalis pedis pulses two plus bilaterally", "pedal pulses two plus bilaterally", "posterior tibial and dorsalis pedis pulses two plus bilaterally")),
    ("lower_extremities", "calves", 1, ("calves soft and nontender", "both calves soft nontender", "calves nontender bilaterally")),
    ("musculoskeletal", "rom", 1, ("full range of motion in all joints", "full range of motion", "full range of motion all extremities")),
    ("musculoskeletal", "strength", 1, ("strength five out of five in all extremities", "muscle strength five out of five bilaterally", "strength five out of five throughout")),
    ("musculoskeletal", "gait", 1, ("gait steady", "steady gait", "gait is steady")),
    ("neurological", "sensation", 1, ("sensation intact to light touch bilaterally", "sensation intact bilaterally", "light touch intact bilaterally")),
    ("back_sacrum_lines", "spine", 1, ("spine straight", "spine is straight", "back spine straight")),
    ("back_sacrum_lines", "sacrum", 1, ("sacrum intact and blanchable", "sacrum intact", "no redness over the sacrum")),
    ("back_sacrum_lines", "lines", 1, ("no drains or wounds", "no wounds or drains", "no lines or drains")),
    ("closing", "light", 1, ("call light within reach", "call bell in reach", "call light in reach")),
    ("closing", "bed", 1, ("bed low and locked", "bed in the lowest position", "bed is low and locked")),
    ("closing", "rails", 1, ("side rails up times two", "two side rails up", "side rails up")),
    ("closing", "table", 1, ("bedside table within reach", "table within reach", "bedside table in reach")),
    ("closing", "room", 1, ("floor clear", "room scanned for hazards", "floor is clear of hazards")),
    ("closing", "comfort", 1, ("position of comfort", "patient left in a position of comfort", "patient in a comfortable position")),
    ("closing", "exit", 1, ("hand hygiene on exit", "washed my hands before leaving", "hand hygiene before leaving")),
)


def complete(rng: random.Random) -> list[Line]:
    """A complete run: every sentence in one of its ways."""
    return [Line(station, tag, rng.choice(ways), float(pause)) for station, tag, pause, ways in BASE]


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
    Wrong("order", "abdomen first", station_moved("abdomen", "head_face"), "order.stations", "Abdomen", touches=("s:abdomen",)),
    Wrong("order", "legs early", station_moved("lower_extremities", "eyes"), "order.stations", "Lower", touches=("s:legs",)),
    Wrong("order", "ears late", station_moved("ears", "genitourinary"), "order.stations", "Ears", touches=("s:ears",)),
    Wrong("order", "neck late", station_moved("neck", "closing"), "order.stations", "Neck", touches=("s:neck",)),
    Wrong("order", "palpation first", moved("palpate", "bowel"), "order.abdomen_order", touches=("bowel", "palpate")),
    Wrong("order", "hands late", moved("hygiene", "skin"), "order.hands_before_touch", touches=("hygiene",)),
    Wrong("order", "deep before light", added("palpate", "deep palpation of the abdomen then light palpation of the abdomen"), "order.light_before_deep", touches=("palpate",)),
    Wrong("order", "carotids together", added("carotids", "palpated both carotid pulses at the same time two plus bilaterally"), "order.carotids_together", touches=("carotids",)),
    Wrong("too quick", "apical", added("sounds", "apical pulse seventy two", 8), "timing.apical_pulse", touches=("apical",)),
    Wrong("too quick", "bowel sounds absent", replaced("bowel", "bowel sounds absent in all four quadrants", 20), "timing.bowel_sounds_absent", also=("caution.",), touches=("bowel",)),
    Wrong("too quick", "respirations", replaced("respirations", "respirations sixteen and unlabored", 3), "timing.respirations", touches=("respirations",), timed=True),
    Wrong("one side", "radial", replaced("radials", "left radial pulse two plus"), "sides.pulses", touches=("radials",)),
    Wrong("one side", "pedal", replaced("pedals", "right dorsalis pedis pulse two plus"), "sides.pulses", touches=("pedals",)),
    Wrong("one side", "pupil", replaced("pupils", "left pupil round and reactive to light"), "sides.pupils", touches=("pupils",)),
    Wrong("one side", "lungs", lambda lines: replaced("front", "anterior chest breath sounds clear on the right")(replaced("lungs", "breath sounds clear on the right")(lines)), "sides.lung_fields", touches=("lungs", "front")),
    Wrong("one side", "calf", replaced("calves", "left calf soft and nontender"), "sides.calves", touches=("calves",)),
    Wrong("one side", "grip", replaced("grips", "right hand grip strong"), "sides.strength", touches=("grips",)),
    Wrong("one side", "quadrants", replaced("bowel", "bowel sounds active in the right lower quadrant"), "sides.quadrants", touches=("bowel",)),
    _contradicts("edema", "calves", "two plus pitting edema of both ankles", "", ),
    _contradicts("consciousness", "sensation", "glasgow coma scale nine", "alert_low_gcs", "caution.", "range."),
    _contradicts("oxygen", "effort", "on two liters nasal cannula", "room_air_oxygen", "range."),
    _contradicts("murmur", "murmurs", "grade two out of six systolic murmur at the apex", "", "detail."),
    _contradicts("wheeze", "front", "expiratory wheezes bilaterally in both lungs", ""),
    _contradicts("irregular", "murmurs", "heart rhythm irregularly irregular", ""),
    _contradicts("pain", "stool", "pain six out of ten in the abdomen", "", "range."),
    _contradicts("weak arm", "strength", "strength two out of five in the right arm", "", "sides."),
    Wrong("contradiction", "pupil sizes", replaced("pupils", "pupils equal round and reactive to light left pupil three millimeters right pupil five millimeters"), "contradiction.equal_pupils", touches=("pupils",), also=("caution.",)),
    Wrong("cannot be", "temperature", replaced("temperature", "temperature one hundred forty oral"), "implausible.temperature", touches=("temperature",), also=("confirm",)),
    Wrong("cannot be", "pressure turned", replaced("pressure", "blood pressure seventy two over one sixteen left arm sitting"), "implausible.blood_pressure", touches=("pressure",), also=("confirm",)),
    Wrong("cannot be", "saturation", replaced("saturation", "oxygen saturation one hundred eight percent on room air"), "implausible.spo2", touches=("saturation",), also=("confirm",)),
    Wrong("cannot be", "pulse", replaced("pulse", "heart rate seven hundred"), "implausible.heart_rate", touches=("pulse",), also=("confirm",)),
    Wrong("cannot be", "celsius", replaced("temperature", "temperature ninety eight point six celsius oral"), "unit.temperature", touches=("temperature",), also=("confirm",)),
    Wrong("abnormal", "low saturation", replaced("saturation", "oxygen saturation eighty six percent on room air"), "caution.saturation_low", touches=("saturation",), also=("range.news2",)),
    Wrong("abnormal", "low pressure", replaced("pressure", "blood pressure eighty two over forty eight left arm sitting"), "caution.pressure_low", touches=("pressure",), also=("range.",)),
    Wrong("abnormal", "stage 1 reading", replaced("pressure", "blood pressure one thirty six over eighty four left arm sitting"), "range.pressure_category", touches=("pressure",)),
    Wrong("abnormal", "droop", replaced("face", "left facial droop"), "caution.stroke_signs", touches=("face",)),
    Wrong("abnormal", "sacral redness", replaced("sacrum", "non blanchable redness on the sacrum two by two centimeters stage one"), "caution.pressure_injury", touches=("sacrum",)),
    Wrong("abnormal", "no place of temperature", replaced("temperature", "temperature ninety eight point four"), "detail.temperature_site", touches=("temperature",)),
    Wrong("abnormal", "air or oxygen", replaced("saturation", "oxygen saturation ninety eight percent"), "detail.saturation_air", touches=("saturation", "oxygen")),
)
