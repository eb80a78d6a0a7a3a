"""`thirdhand check` of the guide: every reference to packs, readings and jobs resolves."""

import pytest

from assistant.check import check
from assistant.faults.check import at_jobs, missing, sounding_alike
from assistant.faults.load import retest_refs
from assistant.procedure.load import check_job, load_pack
from tests.faults.cases import ROOT, guide
from tests.faults.test_door import JOB

STEPS = ROOT / "steps"


@pytest.fixture(scope="module")
def packs():
    return {each.parent.name: load_pack(each.parent) for each in STEPS.glob("*/pack.yaml")}


def test_the_guide_that_comes_with_the_program_is_without_fault():
    checked, faults = check([STEPS / "faults"])
    assert [each.name for each in checked] == ["fault guide faults"]
    assert not faults


def test_every_retest_is_a_pack_and_every_changed_part_is_asked_for(packs):
    steps = {step.id for pack in packs.values() for step in pack.steps}
    for _, ref in retest_refs(guide()):
        assert ref.split(":")[0] in packs
    for repair in guide().repairs.values():
        assert set(repair.changed) <= steps


def test_a_retest_that_is_no_pack_is_a_fault(packs):
    repairs = guide().repairs
    odd = repairs["fuse-work"].model_copy(update={"retests": ("power-entri",)})
    changed = guide().model_copy(update={"repairs": {**repairs, "fuse-work": odd}})
    faults = missing(changed, packs)
    assert faults == [("fuse-work", "retest 'power-entri' is no pack; asked for by fuse-work")]


def test_a_retest_of_a_section_that_the_pack_lacks_is_a_fault(packs):
    changed = guide().model_copy(update={"always_retest": ("safety-tests:stopp buttons",)})
    faults = missing(changed, packs)
    told = "retest 'safety-tests:stopp buttons': pack 'safety-tests' has no section 'stopp buttons'"
    assert faults == [("always_retest", told)]


def test_a_question_for_a_changed_part_that_no_pack_asks_is_a_fault(packs):
    repairs = guide().repairs
    odd = repairs["beam-wired"].model_copy(update={"changed": ("repair-beems",)})
    changed = guide().model_copy(update={"repairs": {**repairs, "beam-wired": odd}})
    assert missing(changed, packs) == [("beam-wired", "no pack asks 'repair-beems'")]


def test_a_setting_that_needs_an_open_panel_is_a_fault(packs):
    repairs = guide().repairs
    odd = repairs["guard-set"].model_copy(update={"needs": "proven-dead"})
    changed = guide().model_copy(update={"repairs": {**repairs, "guard-set": odd}})
    told = "is a setting, so it needs the panel energised"
    assert missing(changed, packs) == [("guard-set", told)]


@pytest.mark.parametrize(
    ("slip", "told"),
    [
        ({"after": ("end-automatik",)}, "settings: no pack has a step 'end-automatik'"),
        ({"answer": "left of"}, "settings: 'left of' is no answer of end-automatic"),
        ({"is_": "of"}, "hint: no step leaves 'auto-close' at 'off'"),
    ],
)
def test_a_slip_in_what_steps_leave_set_is_a_fault(packs, slip, told):
    (row,) = (each for each in guide().settings if each.answer == "left off")
    others = [each for each in guide().settings if each.is_ != row.is_]
    odd = row.model_copy(update=slip)
    faults = missing(guide().model_copy(update={"settings": (*others, odd)}), packs)
    assert told in [problem for _, problem in faults]


def test_answers_of_one_check_that_sound_alike_are_found():
    checks = dict(guide().checks)
    row = checks["stop-both-ways"]
    answers = {"tree": "one", "three": "two"}
    odd = row.model_copy(update={"answers": answers, "normal": "tree", "sound": {}, "tells": {}})
    changed = guide().model_copy(update={"checks": {**checks, row.id: odd}})
    assert not sounding_alike(guide())
    assert [known for known, _ in sounding_alike(changed)] == ["stop-both-ways"]


def test_an_indicator_of_a_device_that_nobody_asks_for_is_a_fault():
    """A slip in the device's name would leave the maker's label unused."""
    lights = [{"label": "IN 1", "device": "saftey-edge", "lit": "acting"}]
    job = check_job({**JOB, "indicators": lights}, "bench")
    ((name, problem),) = at_jobs(guide(), [job])
    assert name == "bench"
    assert "no check asks for device 'saftey-edge'" in problem
