"""The guide at one door: what applies, the maker's labels, limits, and what the record says."""

from decimal import Decimal

import pytest

from assistant.errors import GuideError
from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.bayes import UNLISTED
from assistant.faults.door import for_job
from assistant.faults.wording import speak
from assistant.procedure.load import check_job
from assistant.quantity import Quantity, quantity
from tests.faults.cases import door_for, guide

JOB = {
    "job": "bench",
    "site": "Pinewharf Cold Store",
    "door": "D9",
    "door_type": "sectional",
    "supply": {"system": "three-phase-neutral", "nominal": "400 V"},
    "code_set": "metric",
    "options": ["safety-edge", "light-beam", "brake"],
}


def door(record=None, **changes):
    return for_job(guide(), check_job({**JOB, **changes}, "bench"), record)


def test_only_what_a_door_has_is_asked_and_suspected():
    """A door without a loop: no loop among the causes or checks."""
    here = door()
    row = guide().symptoms["opens-but-not-closes"]
    prior = here.prior(row)
    assert "loop-holds" not in prior
    assert "beam-misaligned" in prior
    assert "loop-light" not in {check.id for check in here.checks_for(row, prior)}
    assert "loop-holds-open" not in {each.id for each in here.symptoms()}


def test_the_prior_is_weight_times_share_with_none_of_these_beside_it():
    """By hand for limit-switches-wrong: 2.5 x 0.8, 3 x 0.6, 1.5 x 0.7 over their sum 4.85."""
    here = door(options=["limit-switches"])
    prior = here.prior(guide().symptoms["limit-switches-wrong"])
    assert prior[UNLISTED] == guide().unlisted == 0.06
    assert prior["limits-swapped"] == pytest.approx(0.94 * 2.0 / 4.85)
    assert prior["cam-drifted"] == pytest.approx(0.94 * 1.8 / 4.85)
    assert prior["limit-contact-wrong"] == pytest.approx(0.94 * 1.05 / 4.85)


def test_ice_is_likelier_in_a_freezer():
    row = guide().symptoms["reverses-at-floor"]
    cold = door(options=[*JOB["options"], "freezer"]).prior(row)["floor-ice"]
    assert cold > 2 * door().prior(row)["floor-ice"]


LIGHT = {"label": "IN 3", "device": "safety-edge"}


@pytest.mark.parametrize(
    ("lit", "word", "outcome"),
    [("acting", "yes", "acting"), ("acting", "no", "clear"),
     ("clear", "yes", "clear"), ("clear", "no", "acting")],
)  # fmt: skip
def test_a_light_is_asked_for_in_the_makers_label_and_read_as_the_job_says(lit, word, outcome):
    """Some makers light it while the device is at rest, some while it acts."""
    here = door(indicators=[{**LIGHT, "lit": lit}]).checks["edge-light"]
    assert here.say == "Look at the panel. Is the light marked IN 3 on?"
    assert here.spoken[word] == outcome


def test_without_a_label_the_light_is_described():
    say = door().checks["edge-light"].say
    assert "the panel's light for the safety edge" in say


@pytest.mark.parametrize(
    ("kilohms", "outcome"),
    [("8.2", "sound"), ("7.0", "sound"), ("9.3", "sound"), ("6", "damp"), ("4.1", "half"),
     ("0.2", "shorted"), ("0.8", "low"), ("11", "high"), ("16.4", "open"), ("82", "open")],
)  # fmt: skip
def test_an_edges_ohms_are_read_as_the_trade_reads_them(kilohms, outcome):
    """8.2 kohm end of line: 7.0 to 9.4 healthy, two beside each other 4.1, two in a row 16.4,
    wrong value 0.8 or 82, under 500 ohm pressed or shorted (common practice, no source)."""
    found = door().checks["edge-ohms"].outcome(Quantity(Decimal(kilohms), "kilohm"))
    assert found == outcome


@pytest.mark.parametrize(
    ("check", "value", "outcome"),
    [
        ("loop-ohms", "3.9 ohm", "sound"),  # 4 ohm at most
        ("loop-ohms", "6 ohm", "high"),
        ("loop-megohms", "60 megohm", "sound"),  # 50 accept, under 1 fail
        ("loop-megohms", "0.9 megohm", "leaks"),
        ("loop-inductance", "80 percent", "right"),  # a quarter either way
        ("loop-inductance", "130 percent", "more"),
        ("disable-height", "40 mm", "right"),  # 25 to 50 above the beam, never above 75
        ("disable-height", "80 mm", "too high"),
        ("guard-reserve", "2.5 s", "enough"),  # two to three seconds
        ("guard-reserve", "0.5 s", "too little"),
        ("winding-ohms", "4 percent", "within"),  # equal within five percent
        ("winding-ohms", "7 percent", "above"),
    ],
)
def test_written_limits_are_those_of_the_trade(check, value, outcome):
    """Common practice, no source."""
    here = door_for("freezer").checks[check]
    assert here.outcome(quantity(value)) == outcome


def test_a_computed_limit_is_that_of_the_calculator_for_this_job():
    """400 V metric: 230/400 V plus or minus ten percent (IEC 60038): 360 to 440 V."""
    here = door().checks["incoming-lines"]
    assert (here.at_least, here.at_most) == (360, 440)
    assert here.outcome(quantity("355 V")) == "below"
    assert here.outcome(quantity("401 V")) == "within"


def test_over_range_is_above_every_edge():
    assert door().checks["edge-ohms"].outcome(None) == "open"
    assert door().checks["earth-ohms"].outcome(None) == "above"


def test_the_lines_of_the_supply_are_named():
    assert "L1 to L2, L2 to L3, L3 to L1" in door().checks["incoming-lines"].say


@pytest.mark.parametrize(
    ("record", "symptom", "cause"),
    [
        ({"readings": [{"name": "edge-battery", "verdict": "fail"}]},
         "edge-never-acts", "edge-battery-flat"),
        ({"readings": [{"name": "opening.2", "verdict": "pass", "trend": "rising"}]},
         "run-timer-stops", "door-binding"),
        ({"open_points": [{"step": "edge-left", "cause": "unable"}]},
         "opens-but-not-closes", "edge-signals"),
        ({"settings": {"auto-close": "off"}}, "auto-close-wrong", "dwell-zero"),
        ({"cycles": 400000}, "drifts", "brake-worn"),
    ],
)  # fmt: skip
def test_the_jobs_own_record_speaks_for_a_cause(record, symptom, cause):
    """Readings that failed, trends, open points, settings and the counter shift the chances."""
    name = "wireless" if cause == "edge-battery-flat" else "freezer"
    row = guide().symptoms[symptom]
    before = door_for(name).chances(row)[cause]
    assert door_for(name, record).chances(row)[cause] > before


def test_a_records_factor_counts_as_bayes_says():
    """Odds after are odds before times the factor 10 of the hint."""
    row = guide().symptoms["auto-close-wrong"]
    before = door_for("freezer").chances(row)["dwell-zero"]
    after = door_for("freezer", {"settings": {"auto-close": "off"}}).chances(row)["dwell-zero"]
    assert after / (1 - after) == pytest.approx(10 * before / (1 - before))


def test_what_the_record_says_is_given_as_the_reason():
    here = door_for("hall", {"settings": {"mode": "hold-to-run"}})
    search = machine.replay(here, [inputs.Seen(words="29"), inputs.Safe()])
    out = machine.advance(here, search, inputs.FoundIt())
    assert any(
        "the settings on record say hold to run" in text for text in speak(out.effects, here)
    )
    assert isinstance(out.effects[-1], fx.Named)


def test_a_device_of_the_records_list_counts_as_the_doors():
    here = door({"devices": ["loop", "coffee-maker"]})
    assert here.options == {*JOB["options"], "loop", "three-phase"}


def test_a_limit_that_cannot_be_worked_out_names_check_and_job():
    """A supply of 3 V is no supply: the calculator refuses it."""
    with pytest.raises(GuideError, match="for job 'bench'"):
        door(supply={"system": "single-phase", "nominal": "3 V"})
