"""Motor and encoder: tested before they are landed, leads and shields where the plan says."""

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure.load import load_job
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}


def own(job):
    steps = plan_from_files(["motor"], job).steps
    return {step.id: step for step in steps if step.pack == "motor"}


def test_test_voltage_comes_before_any_lead_is_landed():
    for job in JOBS.values():
        order = list(own(job))
        landed = [order.index(i) for i in order if i.startswith(("motor-earth.", "motor-lead."))]
        assert order.index("motor-free") < order.index("winding-insulation") < min(landed)
        assert order.index("winding-discharge") < min(landed)


def test_leads_cores_and_shields_are_those_of_the_plan():
    for job in JOBS.values():
        said = {i: s.say for i, s in own(job).items()}
        rows = [r for r in job.terminals if r.device in ("motor", "motor-earth", "encoder")]
        assert rows
        texts = " | ".join(said.values())
        for row in rows:
            strip, _, point = row.terminal.removeprefix("-").partition(":")
            assert f"{strip}, terminal {point}" in texts, row
    shield = own(JOBS["d1"])
    assert "both ends" in shield["motor-shield.motor-shield"].say
    assert "earthed at: panel" in shield["encoder-shield.encoder-shield"].say


def test_variants_follow_phases_drive_and_encoder():
    found = {name: set(own(job)) for name, job in JOBS.items()}
    assert {"motor-capacitor", "winding-single", "motor-overload"} <= found["d2"]
    assert "winding-spread" in found["d1"] & found["d3"] & found["d4"]
    assert not {"winding-spread", "motor-apart", "encoder-shaft"} & found["d2"]
    assert "encoder-plug" in found["d1"] and "encoder-plug" not in found["d4"]


def test_limit_of_the_winding_is_corrected_for_its_warmth():
    """IEEE 43, from memory: 5 megohm at 40 degrees, twice that for each ten below."""
    step = own(JOBS["d1"])["winding-insulation"]
    assert step.limits.calc == "winding-limit" and step.limits.safety
    assert calculate("winding-limit", {"temperature": "20 degC"}).at_least.value == 20
