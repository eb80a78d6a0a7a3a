"""Values: read back, taken only when affirmed, judged unrounded, corrected without erasing."""

from __future__ import annotations

from decimal import Decimal

import pytest

from assistant.procedure import inputs
from tests.procedure.small import Walk


@pytest.fixture
def dead():
    walk = Walk()
    walk.to_dead()
    walk.confirm("done")  # now at the earth reading
    return walk


def reading(number, unit=None, special=None):
    return inputs.Reading(value=number, unit=unit, special=special)


def test_a_value_is_pending_until_it_is_affirmed(dead):
    assert dead.put(reading("0.05")) == ["read-back"]
    assert "earth" not in dead.run.readings
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].quantity.value == Decimal("0.05")


def test_negative_takes_nothing_and_asks_again(dead):
    dead.put(reading("0.05"))
    assert dead.put(inputs.Negative()) == ["withdrawn"]
    assert dead.run.pending is None and "earth" not in dead.run.readings
    assert dead.put(inputs.Affirm()) == ["ask-again"]


def test_a_new_value_replaces_the_pending_one(dead):
    dead.put(reading("0.06"))
    dead.put(inputs.Correction(reading=reading("0.05")))
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].quantity.value == Decimal("0.05")


def test_a_value_out_of_the_plausible_range_is_asked_again_and_not_taken(dead):
    assert dead.put(reading("150")) == ["implausible"]
    assert dead.put(inputs.Affirm()) == ["ask-again"]
    assert "earth" not in dead.run.readings


def test_a_value_in_another_unit_is_converted_for_the_limit_and_kept_as_said(dead):
    dead.put(reading("90", "milliohm"))
    dead.put(inputs.Affirm())
    taken = dead.run.readings["earth"]
    assert (taken.quantity.written(), taken.verdict) == ("90 mohm", "pass")
    judged = next(e for e in dead.effects if e.kind == "judged")
    assert (judged.si_value, judged.si_unit) == (0.09, "ohm")


def test_a_unit_of_another_dimension_is_refused(dead):
    assert dead.put(reading("12", "volt")) == ["wrong-unit"]


def test_a_value_outside_the_limit_is_recorded_and_holds_the_step(dead):
    dead.put(reading("0.11"))
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].verdict == "fail"
    assert (dead.run.at, dead.run.failing) == ("earth", "earth")
    dead.value("0.09")
    assert dead.run.at == "insulation"


def test_limits_are_compared_unrounded(dead):
    dead.put(reading("0.1000001"))
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].verdict == "fail"


def test_over_range_meets_a_lower_limit_and_fails_an_upper_one(dead):
    dead.put(reading(None, special="over-range"))
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].verdict == "fail"
    dead.value("0.05")
    dead.put(reading(None, special="over-range"))
    dead.put(inputs.Affirm())
    assert dead.run.readings["insulation"].verdict == "pass"


def test_no_reading_is_never_taken_for_a_value(dead):
    assert dead.put(reading(None, special="no-reading")) == ["ask-again"]


def test_a_correction_after_the_step_supersedes_and_keeps_the_place(dead):
    dead.value("0.05")
    assert dead.run.at == "insulation"
    dead.put(inputs.Correction(reading=reading("0.06")))
    dead.put(inputs.Affirm())
    judged = next(e for e in dead.effects if e.kind == "judged")
    assert judged.corrects and judged.value == Decimal("0.06")
    assert dead.run.at == "insulation"


def test_a_low_insulation_value_opens_the_drying_step_and_its_answer_leads_back(dead):
    dead.value("0.05")
    dead.value("3")
    assert dead.run.at == "dry-out"
    dead.put(inputs.Choice(answer="dried"))
    assert dead.run.at == "insulation"
    dead.value("40")
    assert dead.run.at == "guard"


def test_a_failing_noted_value_is_an_open_point_and_a_passing_one_closes_it():
    walk = Walk()
    walk.to_energised()
    walk.value(400)  # 480 V less 10 % is 432 V
    assert [item.step for item in walk.run.open_points] == ["supply.l1-l2"]
    walk.put(inputs.Correction(reading=reading("480")))
    walk.put(inputs.Affirm())
    assert walk.run.open_points == ()
    assert walk.run.readings["supply.l1-l2"].verdict == "pass"


def test_unbalance_is_computed_from_the_three_readings_and_again_after_a_correction():
    walk = Walk()
    walk.to_energised()
    for volts in (462, 463, 455):  # the worked example printed with NEMA MG 1: 1.1 %
        walk.value(volts)
    assert walk.run.failing == "unbalance"
    assert walk.run.readings["unbalance"].quantity.value.quantize(Decimal("0.001")) == Decimal(
        "1.087"
    )
    walk.put(inputs.Correction(reading=reading("461")))
    walk.put(inputs.Affirm())
    assert walk.run.finished
    assert walk.run.readings["unbalance"].verdict == "pass"


def test_measure_again_after_a_failed_sum_asks_for_its_readings_anew():
    walk = Walk()
    walk.to_energised()
    for volts in (462, 463, 445):
        walk.value(volts)
    walk.command("measure-again")
    assert walk.run.at == "supply.l1-l2"
    for volts in (462, 463, 461):
        walk.value(volts)
    assert walk.run.finished


def test_unable_makes_an_open_point_and_goes_on():
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.Unable(reason="no ferrules"))
    assert walk.run.at == "earth"
    assert (walk.run.open_points[0].cause, walk.run.open_points[0].reason) == (
        "unable",
        "no ferrules",
    )


def test_stand_by_holds_and_go_ahead_speaks_the_step_again(dead):
    dead.command("stand-by")
    assert dead.put(reading("0.05")) == ["held"]
    assert dead.command("go-ahead") == ["resumed", "entered"]
    assert dead.run.ledger.state == "proven-dead"


@pytest.mark.parametrize(
    "heard", [("40", inputs.Negative()), ("200000", None)], ids=["withdrawn", "implausible"]
)
def test_a_correction_is_about_the_value_just_heard_even_if_it_was_not_taken(dead, heard):
    """It would overwrite the step before, behind a read-back that sounds right."""
    dead.value("0.05")
    dead.put(reading(heard[0]))
    if heard[1]:
        dead.put(heard[1])
    dead.put(inputs.Correction(reading=reading("50")))
    assert dead.run.pending.step == "insulation"
    dead.put(inputs.Affirm())
    assert dead.run.readings["earth"].quantity.value == Decimal("0.05")
    assert dead.run.readings["insulation"].quantity.value == 50


def test_a_withdrawn_correction_of_an_earlier_step_is_said_again_for_that_step(dead):
    dead.value("0.05")
    for number in ("0.09", "0.06"):
        dead.put(inputs.Correction(reading=reading(number)))
        assert (dead.run.pending.step, dead.run.pending.corrects) == ("earth", True)
        dead.put(inputs.Negative() if number == "0.09" else inputs.Affirm())
    assert dead.run.readings["earth"].quantity.value == Decimal("0.06")
    assert dead.run.at == "insulation" and "insulation" not in dead.run.readings


def test_the_second_value_that_is_withdrawn_is_told_as_such(dead):
    again = []
    for number in ("0.05", "0.06"):
        dead.put(reading(number))
        dead.put(inputs.Negative())
        again += [e.again for e in dead.effects if e.kind == "withdrawn"]
    assert again == [False, True]
