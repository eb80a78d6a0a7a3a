"""Packs and jobs from YAML: what is wrong is named with file, line and step."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import JobError, PackError
from assistant.procedure.load import bind, load_pack, parse_job, parse_pack, spoken_terminal
from tests.procedure.small import JOB, PACK, STEPS, plan

INVALID = sorted((Path(__file__).parent / "invalid").glob("*.yaml"))


@pytest.mark.parametrize("case", INVALID, ids=lambda path: path.stem)
def test_each_invalid_pack_is_refused_with_its_place_and_reason(case):
    text = case.read_text()
    head, _, expected = text.splitlines()[0].removeprefix("# ").rpartition(" | ")
    with pytest.raises(PackError) as refused:
        parse_pack({"pack.yaml": PACK + head + "\n", "steps.yaml": text}, "pack")
    assert expected in str(refused.value)


def test_a_missing_file_is_named():
    with pytest.raises(PackError, match=r"pack\.yaml: can.t be read"):
        load_pack(Path("nowhere"))


def test_version_without_quotes_is_refused_with_the_way_out():
    head = PACK.replace('"1.0"', "1.10")
    with pytest.raises(PackError, match="put it in quotes"):
        parse_pack({"pack.yaml": head, "steps.yaml": STEPS}, "pack")


def test_three_phase_has_six_pairs_with_neutral_ten_and_single_phase_three():
    counts = {}
    for system in ("three-phase", "three-phase-neutral", "single-phase"):
        steps = plan(JOB.replace("three-phase", system)).steps
        counts[system] = sum(step.proves == "dead" for step in steps)
    assert counts == {"three-phase": 6, "three-phase-neutral": 10, "single-phase": 3}


def test_steps_that_the_job_rules_out_are_left_out():
    single = plan(JOB.replace("three-phase", "single-phase"))
    assert "unbalance" not in {step.id for step in single.steps}


@pytest.mark.parametrize(
    ("was", "becomes", "message"),
    [
        ("nominal: 480 V", "nominal: 480 furlong", "unit 'furlong' is not known"),
        ("nominal: 480 V", "nominal: 5 min", "is not in volts"),
        ("door_type: high-speed-roll-up", "door_type: garage", "door_type"),
        ("wait: 5 min", "wait: soon", "is not a number and a unit"),
        ("wait: 5 min", "wait: -5 min", "below zero"),
    ],
)
def test_a_wrong_job_is_refused_with_line_and_reason(was, becomes, message):
    with pytest.raises(JobError, match=r"job:\d+: .*" + message):
        parse_job(JOB.replace(was, becomes))


def test_a_terminal_used_twice_is_refused():
    rows = """
terminals:
  - {device: mains, conductor: L1, terminal: "-X1:1", voltage_class: mains}
  - {device: mains, conductor: L2, terminal: "-X1:1", voltage_class: mains}
"""
    with pytest.raises(JobError, match="terminal '-X1:1' is used twice, first on line"):
        parse_job(JOB + rows)


def test_a_pack_that_needs_a_terminal_the_plan_lacks_says_so_before_anyone_climbs():
    steps = STEPS + (
        "- {id: t, section: x, say: '{conductor} to {terminal}', for_each: 'terminal:mains',"
        " expects: {confirmation: done}}\n"
    )
    with pytest.raises(PackError, match="terminal plan of job 'test-door' has no device 'mains'"):
        plan(steps=steps)


def test_a_key_given_twice_is_an_error():
    with pytest.raises(PackError, match="duplicate key"):
        parse_pack({"pack.yaml": PACK + "title: again\n", "steps.yaml": STEPS}, "pack")


def test_terminals_are_spoken_without_signs():
    assert spoken_terminal("-X1:3") == "X1, terminal 3"


def test_binding_twice_gives_equal_plans():
    pack = parse_pack({"pack.yaml": PACK, "steps.yaml": STEPS}, "small")
    assert bind(pack, parse_job(JOB)) == bind(pack, parse_job(JOB))


def test_a_fact_of_the_job_is_spoken_where_the_pack_names_it():
    rows = "- {id: a, section: a, say: '{fact:door-height} high.', expects: {confirmation: done}}"
    pack = parse_pack({"pack.yaml": PACK, "steps.yaml": rows}, "p")
    job = parse_job(JOB + "facts: {door-height: 4.2 m, loop-wire: 14 AWG}\n")
    assert bind(pack, job).steps[0].say == "4.2 m high."
    with pytest.raises(PackError, match="has no fact 'door-height'; add it"):
        bind(pack, parse_job(JOB))


def test_a_fact_that_begins_like_a_quantity_is_one():
    with pytest.raises(JobError, match="bananas"):
        parse_job(JOB + "facts: {door-height: 4.2 bananas}\n")
