"""Values of measures, scales and findings: tables of ways of saying them, and properties.

Outside references: num2words for saying numbers; exact and printed factors of NIST Special Publication 811
(appendix B) for units; the check digit of LOINC codes (modulus 10, LOINC users' guide).
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lexicon import load
from lexicon.schema.measures import Measure, MeasuresFile, NumbersFile, Scale, ScalesFile
from parser.components.measures import find_slot_values
from parser.components.numbers import find_numbers
from parser.components.terms import find_terms
from parser.layers import Boundary, SlotValue
from parser.slots import slots
from parser.tokens import tokenise
from tests.parser.test_numbers import american, british, digits, rows, short, tenths
from tests.shared import SHARED, needs_shared

DATA = Path(__file__).parent / "data"


@lru_cache(maxsize=2000)
def values_in(text: str, cuts: tuple[int, ...] = ()) -> tuple[SlotValue, ...]:
    lexicon = load()
    tokens = tokenise(text)
    numbers = find_numbers(tokens, lexicon)
    boundaries = tuple(Boundary(at, "test") for at in cuts)
    return find_slot_values(tokens, find_terms(tokens, numbers, lexicon), numbers, boundaries, lexicon)


def written(value: SlotValue) -> str:
    parts = [value.measure or "-", value.value.text.replace(" ", "_"), value.value.unit or "-"]
    parts += [f"[{', '.join(value.qualifiers)}]"] if value.qualifiers else []
    return " ".join(parts + (["?"] if value.doubts else []))


@pytest.mark.parametrize(("said", "expected"), [*rows(DATA / "measures.txt"), *rows(DATA / "graded.txt")])
def test_tables(said: str, expected: str) -> None:
    assert " ; ".join(written(value) for value in values_in(said)) == expected


def test_every_slot_has_ways_of_saying_it() -> None:
    """At least 200 lines in all, and every vital sign among them."""
    lines = [*rows(DATA / "measures.txt"), *rows(DATA / "graded.txt"), *rows(DATA / "numbers.txt")]
    assert len(lines) >= 400
    seen = {value.split()[0] for _, values in lines for value in values.split(" ; ") if value}
    for name in (
        "blood_pressure",
        "temperature",
        "heart_rate",
        "respiratory_rate",
        "spo2",
        "pain_score",
        "height",
        "weight",
        "bmi",
        "blood_glucose",
        "urine_output",
        "oxygen_flow",
        "fio2",
        "gcs_total",
        "braden",
        "capillary_refill",
    ):
        assert name in seen


# -- right or marked: any vital sign said any way ----------------------------------------------


def right_or_marked(text: str, measure: str, expected: str) -> None:
    found = [value for value in values_in(text) if value.measure == measure]
    assert found, text
    assert found[0].value.text == expected or found[0].doubts, (text, found)


@given(
    st.integers(60, 240),
    st.integers(30, 130),
    st.sampled_from((british, american, short, digits)),
    st.sampled_from(("blood pressure", "bp is", "blood pressure in the left arm was", "")),
)
def test_pressure(systolic: int, diastolic: int, way: object, name: str) -> None:
    assert callable(way)
    if systolic <= diastolic:
        return
    found = values_in(f"{name} {way(systolic)} over {way(diastolic)} heart rate seventy")
    assert [(v.measure, v.value.text, v.doubts) for v in found] == [
        ("blood_pressure", f"{systolic}/{diastolic}", ()),
        ("heart_rate", "70", ()),
    ]


@given(st.integers(340, 420), st.sampled_from(("point", "")))
def test_temperature_celsius(value: int, point: str) -> None:
    if value % 10 == 0 or (not point and value // 10 == 40):
        return
    found = values_in(f"temperature {tenths(value, american, point)} tympanic pulse eighty")
    assert [(v.measure, v.value.text, v.value.unit) for v in found] == [
        ("temperature", f"{value // 10}.{value % 10}", "Cel"),
        ("heart_rate", "80", "/min"),
    ]


@given(st.integers(940, 1079), st.sampled_from((american, british, short)), st.sampled_from(("point", "")))
def test_temperature_fahrenheit(value: int, way: object, point: str) -> None:
    if value % 10 == 0:
        return
    said = f"temp {tenths(value, way, point)} oral"
    if value >= 1000 and not point and way is not short:
        return  # "one hundred one four" without the point is not said
    if value // 10 == 100 and not point:
        return
    right_or_marked(said, "temperature", f"{value // 10}.{value % 10}")


@given(
    st.integers(21, 299),
    st.sampled_from((british, american, short)),
    st.sampled_from(
        ("heart rate {}", "pulse is {} and regular", "hr {}", "apical {}", "pulse rate of {} beats per minute")
    ),
)
def test_heart_rate(value: int, way: object, frame: str) -> None:
    assert callable(way)
    found = values_in(frame.format(way(value)))
    assert [(v.measure, v.value.text, v.value.unit) for v in found] == [("heart_rate", str(value), "/min")]


@given(
    st.integers(41, 100),
    st.integers(1, 15),
    st.sampled_from(
        (
            "sats {} percent on {} liters",
            "satting {} on {} liters nasal cannula",
            "o two saturation {} percent on {} litres per minute",
            "oxygen saturation {} {} liters",
        )
    ),
)
def test_saturation_with_its_flow(saturation: int, flow: int, frame: str) -> None:
    if frame.startswith("oxygen") and saturation % 10 == 0:
        return  # "fifty one liters" and "one hundred ten liters" are one number
    found = values_in(frame.format(american(saturation), american(flow)))
    assert (found[0].measure, found[0].value.text) == ("spo2", str(saturation))
    assert found[-1].value.text == str(flow)
    assert found[-1].value.unit == "L/min"
    assert f"on {flow} L/min" in found[0].qualifiers


@given(
    st.integers(0, 10),
    st.sampled_from(
        ("pain {} out of ten", "pain is {} over ten", "rates pain {} out of ten", "pain score {}", "pain level is {}")
    ),
)
def test_pain(value: int, frame: str) -> None:
    assert [(v.measure, v.value.text) for v in values_in(frame.format(american(value)))] == [
        ("pain_score", f"{value}/10")
    ]


@given(st.integers(0, 400))
def test_an_implausible_rate_is_kept_and_marked(value: int) -> None:
    (found,) = values_in(f"heart rate {american(value)}")
    assert found.value.text == str(value)
    assert bool(found.doubts) == (not 20 <= value <= 300)


@given(st.integers(-20, 130))
def test_a_temperature_in_the_wrong_unit_is_marked(value: int) -> None:
    for unit, least, most in (("celsius", 25, 45), ("fahrenheit", 77, 113)):
        (found,) = values_in(f"temperature {abs(value)} {unit}")
        assert bool(found.doubts) == (not least <= abs(value) <= most), found


@given(st.sampled_from(("lungs clear", "abdomen soft nontender", "the person is awake", "no wheeze heard")))
def test_an_unrelated_utterance_changes_nothing_before(after: str) -> None:
    said = "blood pressure one twenty over eighty heart rate seventy two respirations sixteen"
    assert values_in(f"{said} {after}") == values_in(said)


def test_boundaries_part_values_from_names() -> None:
    """A number alone in its statement reaches a measure close by, but not past a place spoken of."""
    assert values_in("heart rate counted seventy", (3,)) == values_in("heart rate counted seventy")
    assert values_in("heart rate counted abdomen soft seventy", (3,)) == ()


@given(
    st.lists(
        st.sampled_from(
            [
                "heart",
                "rate",
                "blood",
                "pressure",
                "sats",
                "pain",
                "temp",
                "pedal",
                "pulses",
                "edema",
                "two",
                "plus",
                "one",
                "twenty",
                "over",
                "eighty",
                "ninety",
                "eight",
                "point",
                "six",
                "percent",
                "on",
                "liters",
                "left",
                "right",
                "wound",
                "by",
                "three",
                "cm",
                "stage",
                "grade",
                ".",
                ",",
                "standing",
                "at",
                "rest",
                "(",
                ")",
                "120/80",
                "98.6",
                "f",
                "oxygen",
                "weight",
                "kilos",
                "pounds",
            ]
        ),
        max_size=18,
    )
)
def test_any_row_of_words(words: list[str]) -> None:
    text = " ".join(words)
    tokens = tokenise(text)
    end = 0
    for value in values_in(text):
        assert end <= value.start < value.end <= len(tokens)
        assert value.value.as_said == tokens.slice_text(value.start, value.end)
        end = value.end


def test_a_value_said_again_in_another_unit() -> None:
    (agreeing,) = values_in("T 98.4 F (36.9 C)")
    assert agreeing.doubts == ()
    (weight,) = values_in("weight 230 lb (104.33 kg)")
    assert weight.doubts == ()
    (wrong,) = values_in("T 98.4 F (38.9 C)")
    assert "38.9" in wrong.doubts[0]


# -- the data files --------------------------------------------------------------------------------


def _files() -> tuple[NumbersFile, MeasuresFile, ScalesFile]:
    files = load().files
    numbers, measures, scales = files["numbers"], files["measures"], files["scales"]
    assert isinstance(numbers, NumbersFile)
    assert isinstance(measures, MeasuresFile)
    assert isinstance(scales, ScalesFile)
    return numbers, measures, scales


def _check_digit(code: str) -> bool:
    """Modulus 10 of the LOINC users' guide: double every second digit from the right, sum, complement."""
    body, given = code.split("-")
    odd = int("".join(body[::-1][0::2][::-1])) * 2
    total = sum(int(digit) for digit in f"{''.join(body[::-1][1::2][::-1])}{odd}" if digit)
    return (10 - total % 10) % 10 == int(given)


def test_loinc_check_digits() -> None:
    _, measures, scales = _files()
    entries: list[Measure | Scale] = [*measures.measures, *scales.scales]
    codes = [entry.loinc for entry in entries if entry.loinc]
    codes += [part.loinc for measure in measures.measures for part in measure.parts if part.loinc]
    assert len(codes) > 20
    assert [code for code in codes if not _check_digit(code)] == []


def test_units_and_groups_that_are_used_exist() -> None:
    numbers, measures, scales = _files()
    codes, kinds = {unit.code for unit in numbers.units} | {"1", "mL/min"}, {unit.kind for unit in numbers.units}
    groups = {qualifier.group for qualifier in measures.qualifiers}
    assert {rule.code for measure in measures.measures for rule in measure.units} <= codes
    assert {kind for slot in numbers.slots for kind in slot.units} <= kinds
    used = {group for measure in measures.measures for group in measure.qualifiers}
    assert used <= groups
    entries: list[Measure | Scale] = [*measures.measures, *scales.scales]
    assert {entry.region for entry in entries if entry.region} <= set(load().regions)


def test_scales_and_slots_of_findings_exist() -> None:
    lexicon, table = load(), slots(load())
    known = {*table.measures, *table.scales, *table.kinds}
    missing = {
        (concept.id, name)
        for concept in lexicon.concepts.values()
        for name in (*concept.slots, *((concept.scale,) if concept.scale else ()))
        if name not in known
    }
    assert missing == set()


def test_grades_lie_on_their_scale() -> None:
    _, _, scales = _files()
    for scale in scales.scales:
        assert scale.least < scale.most, scale.id
        listed = {grade.value for grade in scale.grades}
        if scale.kind == "grade" and listed and scale.normal and not any("-" in grade for grade in listed):
            plain = {value.removesuffix(f"/{scale.out_of}") for value in scale.normal}
            assert plain & (listed | {value.split("/")[0] for value in listed}), scale.id


@needs_shared
def test_limits_of_plausibility_are_those_of_the_trade_table() -> None:
    import yaml

    assert SHARED is not None
    trade = yaml.safe_load((SHARED / "trade/reference.yaml").read_text(encoding="utf-8"))["1_vital_signs"][
        "plausibility_limits"
    ]
    table = slots(load())
    rules = {
        name: {rule.code: (rule.least, rule.most) for rule in table.measures[name].units} for name in table.measures
    }
    parts = {part.id: (part.least, part.most) for part in table.measures["blood_pressure"].parts}
    ours = {
        "temperature": rules["temperature"]["Cel"],
        "temperature_F": rules["temperature"]["[degF]"],
        "heart_rate": rules["heart_rate"]["/min"],
        "respiratory_rate": rules["respiratory_rate"]["/min"],
        "systolic_bp": parts["systolic"],
        "diastolic_bp": parts["diastolic"],
        "spo2": rules["spo2"]["%"],
        "weight": rules["weight"]["kg"],
        "height": rules["height"]["cm"],
        "o2_flow": rules["oxygen_flow"]["L/min"],
        "fio2": rules["fio2"]["%"],
    }
    for name, scale in (
        ("pain_nrs", "pain_score"),
        ("gcs_total", "gcs_total"),
        ("pupil", "pupil_size"),
        ("capillary_refill", "capillary_refill"),
    ):
        found = table.scales[scale].scale
        assert found is not None
        ours[name] = (found.least, found.most)
    stated = {row["name"]: (row["min"], row["max"]) for row in trade["rows"]}
    assert stated == ours


@needs_shared
def test_printed_vital_signs_are_read() -> None:
    """Vital signs of OpenStax nursing titles (CC BY 4.0): at least 98 of 100 right, one by one and run together."""
    from tests.bench.vitals import openstax, openstax_together, right
    from tests.bench.vitals import values_in as values

    for cases in (openstax, openstax_together):
        results = [right(case, values(case.text)) for case in cases()]
        assert sum(results) / len(results) >= 0.98
