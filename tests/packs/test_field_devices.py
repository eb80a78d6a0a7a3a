"""What the packs of field devices and of the tests before power promise."""

import pytest

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure.load import load_job
from tests.packs.cases import STEPS

JOBS = {
    name: load_job(STEPS / "jobs" / f"pinewharf-{name}.yaml") for name in ("d1", "d2", "d3", "d4")
}
FIELD = {
    "light-beams": ("d1", "d2", "d3", "d4"),
    "contact-edge": ("d1", "d2", "d3", "d4"),
    "loop": ("d1", "d4"),
    "commands": ("d1", "d2", "d3", "d4"),
    "interlocks": ("d1", "d2", "d3", "d4"),
    "tests-before-power": ("d1", "d2", "d3", "d4"),
}
EVERY = [(pack, door) for pack, doors in FIELD.items() for door in doors]


def steps(pack, door):
    return plan_from_files([pack], JOBS[door]).steps


def own(pack, door):
    return [step for step in steps(pack, door) if step.pack == pack]


def bases(pack, door):
    return {step.base for step in own(pack, door)}


@pytest.mark.parametrize(("pack", "door"), EVERY)
def test_every_device_pack_is_named_in_the_sheet_of_its_door(pack, door):
    assert pack in JOBS[door].packs


def test_beams_have_the_steps_of_their_kind():
    assert "beam-joined-signal" in bases("light-beams", "d1") & bases("light-beams", "d4")
    for door in ("d2", "d3"):
        found = bases("light-beams", door)
        assert "beam-two-wire-ends" in found
        assert not {"beam-joined-signal", "beam-test-supply", "beam-second-core"} & found
    assert "beam-opposed" in bases("light-beams", "d1")


def test_an_edge_is_measured_as_radio_or_on_its_resistor_and_never_both():
    radio, wired = {"edge-battery", "edge-free-radio"}, {"edge-idle", "edge-bend", "edge-lead"}
    for door in ("d1", "d4"):
        assert radio <= bases("contact-edge", door) and not wired & bases("contact-edge", door)
    for door in ("d2", "d3"):
        assert wired <= bases("contact-edge", door) and not radio & bases("contact-edge", door)


@pytest.mark.parametrize("door", FIELD["contact-edge"])
def test_an_edge_is_pressed_at_three_places_with_a_computed_bound(door):
    pressed = [s for s in own("contact-edge", door) if s.base.startswith("edge-pressed-")]
    assert len(pressed) == 3
    for step in pressed:
        assert step.limits.calc == "edge-resistor-window" and step.limits.safety


@pytest.mark.parametrize("door", ["d1", "d2", "d3"])
def test_nobody_reaches_under_a_raised_door_before_it_is_blocked(door):
    ids = [step.id for step in own("contact-edge", door)]
    first = min(ids.index(i) for i in ids if i.startswith("edge-pressed-"))
    assert ids.index("edge-free") < first < ids.index("edge-lowered")


def test_stops_are_measured_closed_and_open_in_both_channels():
    for pack in ("commands", "tests-before-power"):
        found = own(pack, "d1")
        stops = [s for s in found if "iso-13850" in (s.source.ref if s.source else "")]
        units = {s.expects.reading.unit for s in stops if s.expects.reading}
        assert units == {"ohm", "megohm"}, pack
        assert all(s.limits.safety for s in stops if s.expects.reading), pack


@pytest.mark.parametrize("opt", ["interlock", "fire-contact", "security-contact"])
def test_lines_of_others_are_measured_for_a_voltage_before_any_core_is_touched(opt):
    door = "d1" if opt != "security-contact" else "d3"
    found = own("interlocks", door)
    name = {"interlock": "permit", "fire-contact": "fire", "security-contact": "alarm"}[opt]
    ids = [step.base for step in found]
    foreign = next(step for step in found if step.base == f"{name}-foreign")
    assert foreign.limits.calc == "dead-test" and foreign.limits.safety
    assert ids.index(foreign.base) < ids.index(f"{name}-core")


def test_low_voltage_cables_are_tested_at_250_volts_and_half_a_megohm():
    """IEC 60364-6 table 6.1 (read on pages that quote it): SELV and PELV, 250 V, 0.5 megohm."""
    found = [s for s in own("tests-before-power", "d1") if s.base.startswith("before-insulation-")]
    assert len(found) == 10
    for step in found:
        assert step.limits.given == {"nominal": "job.control_voltage", "circuit": "extra-low"}
    limit = calculate("insulation-minimum", {"nominal": "24 V", "circuit": "extra-low"})
    assert float(limit.at_least.value) == 0.5
    tester = next(s for s in own("tests-before-power", "d1") if s.base == "before-tester")
    assert "two hundred and fifty" in tester.say


def test_a_signal_shield_is_measured_lifted_and_clamped():
    for door, devices in {"d1": ("encoder", "loop"), "d4": ("loop", "second-loop")}.items():
        for device in devices:
            wanted = {f"before-screen-{device}-free", f"before-screen-{device}-on"}
            assert wanted <= bases("tests-before-power", door)


def test_the_loop_is_held_against_its_computed_values():
    calcs = {s.base: s.limits.calc for s in own("loop", "d4") if s.limits and s.limits.calc}
    assert calcs["loop-inductance"] == "loop-inductance"
    assert calcs["loop-earth"] == "loop-insulation" and calcs["loop-ohms"] == "loop-resistance"
    assert calcs["loop-apart"] == "loop-neighbours"
    flat = next(s for s in own("loop", "d1") if s.base == "loop-flat")
    assert flat.limits.at_most == 50  # common practice, no source
