"""Both sides and details on records made by hand."""

from __future__ import annotations

import pytest

from parser.audit import audit
from parser.record import Amendment
from tests.parser.audit.building import SOUNDS, lexicon, pulse, rules_of, run, said, vital


def test_one_side_alone() -> None:
    remark = rules_of(pulse("left"))["sides.pulses"]
    assert "only the left side" in remark.message
    assert "right pulse" in (remark.say or "")


@pytest.mark.parametrize("sides", [("left", "right"), ("both",), (None,), ("left", "both")])
def test_both_sides_said(sides: tuple[str | None, ...]) -> None:
    assert "sides.pulses" not in rules_of(*(pulse(side) for side in sides))


def test_a_correction_of_one_side_leaves_the_other_said() -> None:
    both = pulse("both")
    amendment = Amendment(id="a1", supersedes="e1", entry="e2", kind="spoken", by="voice", at=None, evidence=None)
    remarks = audit(run(both, pulse("left", value="1+"), amendments=(amendment,)), lexicon())
    assert not [remark for remark in remarks if remark.rule == "sides.pulses"]


def test_each_place_is_judged_for_itself() -> None:
    assert "sides.pulses" in rules_of(pulse("left"), pulse("right", "dorsalis_pedis_artery"))


def test_quadrants() -> None:
    some = [
        said("abdomen", "bowel_sounds_active", site=site) for site in ("right_lower_quadrant", "left_upper_quadrant")
    ]
    assert "right upper quadrant" in rules_of(*some)["sides.quadrants"].message
    assert "sides.quadrants" not in rules_of(SOUNDS)


def test_temperature_needs_its_place() -> None:
    assert "detail.temperature_site" in rules_of(vital("temperature", "36.8", "Cel", text="temperature 36.8"))
    oral = vital("temperature", "36.8", "Cel", text="temperature 36.8 oral", qualifiers=("oral",))
    assert "detail.temperature_site" not in rules_of(oral)


def test_saturation_needs_air_or_oxygen() -> None:
    assert "detail.saturation_air" in rules_of(vital("spo2", "98", "%", text="sat 98"))
    air = said("anterior_chest", "room_air", text="on room air", kind="device")
    assert "detail.saturation_air" not in rules_of(vital("spo2", "98", "%", text="sat 98"), air)
