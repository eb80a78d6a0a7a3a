"""Packs strung together are one plan: isolated once, released once, in the order of the work."""

from dataclasses import replace

import pytest

from assistant.errors import PackError
from assistant.plans import find_pack
from assistant.procedure import gates, inputs, machine
from assistant.procedure.load import load_job, load_pack, parse_job, parse_pack
from assistant.procedure.plan import plan, progress, string
from tests.packs.cases import STEPS
from tests.procedure.small import JOB

HEAD = """
pack: {name}
title: {name}
version: "1.0"
minutes: 10
sources: {{trade: {{title: Habit, kind: common-practice}}}}
"""


def pack(name, *steps, extra=""):
    rows = "".join(f"- {{section: {name}, say: Do., source: {{ref: trade}}, {s}}}\n" for s in steps)
    return parse_pack({"pack.yaml": HEAD.format(name=name) + extra, "steps.yaml": rows}, name)


def step(name, need="", more="expects: {confirmation: done}"):
    needs = f", needs: {{energy: {need}}}" if need else ""
    return f"id: {name}, {more}{needs}"


def frame(name):
    return load_pack(find_pack(name))


PAPER = pack("paper", step("look"))
DEAD = pack("wires", step("wire", "proven-dead"), step("measure", "energised"))
MORE = pack("more", step("land", "proven-dead"))
LIVE = pack("tests", step("talk"), step("try", "energised"))
END = pack("end", step("tell"))


def parts(strung):
    return [step.pack for i, step in enumerate(strung.steps)
            if i == 0 or strung.steps[i - 1].pack != step.pack]  # fmt: skip


def test_dead_steps_of_all_packs_share_one_isolation_and_live_steps_follow_the_release():
    strung = string([PAPER, DEAD, MORE, LIVE, END], frame)
    assert parts(strung) == [
        *("getting-ready", "paper", "isolation", "wires", "more", "release"),
        *("wires", "tests", "end"),
    ]
    assert strung.found == "unknown"
    assert strung.minutes == 50


def test_a_live_pack_alone_begins_at_a_panel_found_in_service():
    strung = string([LIVE, END], frame)
    assert parts(strung) == ["getting-ready", "in-service", "tests", "end"]
    assert strung.found == "in-service"


def test_live_work_before_an_isolation_has_its_own_release_gate():
    strung = string([LIVE, DEAD], frame)
    order = ["getting-ready", "in-service", "tests", "isolation", "wires", "release", "wires"]
    assert parts(strung) == order
    ids = [each.id for each in strung.steps]
    assert ids.index("clear-gate") < ids.index("prove-dead") < ids.index("clear-gate-again")


def test_work_that_is_all_paper_needs_no_barrier_and_no_gate():
    desk = pack("desk", step("read"), extra="at_door: false\n")
    assert parts(string([desk], frame)) == ["desk"]


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ([DEAD, LIVE, MORE], "works on the live panel between 'wires' and 'more'"),
        ([DEAD, pack("twin", step("wire", "proven-dead"))], "uses an id of pack 'wires'"),
        ([frame("isolation"), DEAD], "has gates of its own and is worked alone"),
    ],
)
def test_a_row_that_can_not_be_worked_is_refused_with_the_reason(row, why):
    with pytest.raises(PackError, match=why):
        string(row, frame)


def test_one_reading_belongs_to_one_pack():
    take = "expects: {reading: {name: volts, unit: volt, plausible: [0, 9]}}"
    with pytest.raises(PackError, match="'volts' is also one of pack 'a'"):
        string([pack("a", step("x", "", take)), pack("b", step("y", "", take))], frame)


def test_a_reading_is_taken_again_only_by_a_later_pack_that_says_so_in_the_same_unit():
    def take(name, step_id, unit, again=""):
        head = HEAD.format(name=name) + again
        row = f"{{id: {step_id}, section: s, say: Do., source: {{ref: trade}}, expects: "
        row += f"{{reading: {{name: volts, unit: {unit}, plausible: [0, 9]}}}}}}\n"
        return parse_pack({"pack.yaml": head, "steps.yaml": f"- {row}"}, name)

    first, again = take("a", "x", "volt"), take("b", "y", "volt", "retakes: [volts]\n")
    assert [step.id for step in string([first, again], frame).steps if step.pack != "getting-ready"]
    with pytest.raises(PackError, match="'volts' is also one of pack 'b'"):
        string([again, first], frame)
    with pytest.raises(PackError, match="is in volt at pack 'a'"):
        string([first, take("b", "y", "ampere", "retakes: [volts]\n")], frame)
    with pytest.raises(PackError, match="no step of this pack takes reading 'amps'"):
        take("b", "y", "volt", "retakes: [amps]\n")


def test_the_same_name_for_two_sources_keeps_both():
    other = parse_pack(
        {
            "pack.yaml": HEAD.format(name="other").replace("Habit", "Another habit"),
            "steps.yaml": f"- {{section: o, say: Do., source: {{ref: trade}}, {step('o')}}}\n",
        },
        "other",
    )
    strung = string([PAPER, other], frame)
    titles = {s.id: strung.sources[s.source.ref].title for s in strung.steps if s.source}
    assert titles["look"] == "Habit" and titles["o"] == "Another habit"


# --- a lost proof in a strung plan --------------------------------------------------------------


def bound(*packs):
    return plan(packs, frame, parse_job(JOB))


def at(whole, here, state, **ledger):
    """A run at a step with all before it settled."""
    run = machine.start(whole)
    marks = {each.id: "done" for each in whole.steps[: whole.index(here)]}
    led = replace(run.ledger, state=state, was_live=state == "energised", **ledger)
    return replace(run, marks=marks, ledger=led, at=here)


def put(whole, run, what, at_s=10.0):
    event = inputs.Event(input=what, at_s=at_s, who="lead", via="voice")
    return machine.advance(whole, run, event).run


def first_open(whole, run):
    return next(each.id for each in whole.steps if each.id not in run.marks)


def test_stop_work_at_the_live_panel_leads_back_to_the_warning_alone():
    whole = bound(DEAD, MORE, LIVE)
    run = put(whole, at(whole, "try", "energised"), inputs.Command(name="stop-work"))
    assert first_open(whole, run) == "warn"


def test_stop_work_before_the_isolation_leads_back_to_the_panel_in_service():
    whole = bound(LIVE, DEAD)
    run = put(whole, at(whole, "try", "energised"), inputs.Command(name="stop-work"))
    assert first_open(whole, run) == "found-live"
    assert "notify" in run.marks
    run = put(whole, run, inputs.Command(name="go-ahead"))
    run = put(whole, run, inputs.Choice(answer="it is in use"))
    assert put(whole, run, inputs.Affirm()).at == "panel-shut"


def test_a_door_that_is_found_dead_goes_straight_to_its_isolation():
    """No gate is passed over: those in front of live work are for a panel that lives."""
    whole = bound(LIVE, DEAD)
    run = at(whole, "found-live", "unknown")
    run = put(whole, run, inputs.Choice(answer="it is off"))
    run = put(whole, run, inputs.Affirm())
    assert whole.step(run.at).pack == "isolation" and run.ledger.state == "unknown"
    left = {step.id for step in whole.steps if not gates.settled(whole, run, step)}
    assert not left & {"panel-shut", "clear-gate", "power-on", "try"}
    assert {"disconnect-off", "prove-dead", "clear-gate-again", "power-on-again", "measure"} <= left
    assert whole.step(put(whole, run, inputs.GoTo(section="wires")).at).pack == "isolation"


def test_without_an_isolation_there_is_no_question_of_a_dead_panel():
    assert "found-live" not in {step.id for step in bound(LIVE).steps}


def test_proving_again_from_the_live_side_asks_for_guard_tools_and_cover_again():
    """Hands go in, so whatever was closed may be open: 29 CFR 1910.147(e)(1)."""
    whole = bound(DEAD, LIVE)
    run = put(whole, at(whole, "try", "energised"), inputs.Command(name="prove-again"))
    lost = {each.id for each in whole.steps[: whole.index("try")]} - set(run.marks)
    release = {each.id for each in whole.steps if each.pack == "release"}
    assert run.ledger.state == "unknown" and not run.ledger.was_live
    assert release <= lost and "wire" not in lost and "disconnect-off" in lost


SWAP = pack(
    "power-up",
    step("swap", "proven-dead") + ", when: {answer: way, is: wrong way}",
    step("way", "energised", "expects: {choice: {right way: next, wrong way: swap}}"),
)


def test_an_answer_at_the_live_panel_can_lead_to_a_step_at_the_dead_one():
    """Wrong direction: isolate, swap two phases, prove again. Other packs' work stays done."""
    whole = bound(DEAD, SWAP, LIVE)
    run = at(whole, "way", "energised")
    run = replace(run, marks={k: v for k, v in run.marks.items() if k != "swap"})
    run = put(whole, run, inputs.Choice(answer="wrong way"))
    assert run.at == "swap" and run.refused == ("state:proven-dead",)
    run = put(whole, run, inputs.Command(name="prove-again"))
    assert "wire" in run.marks and "way" not in run.marks
    open_steps = [s.id for s in whole.steps if s.id not in run.marks]
    assert open_steps.index("prove-dead") < open_steps.index("swap") < open_steps.index("guard-on")
    assert open_steps.index("guard-on") < open_steps.index("way")


def test_progress_counts_what_applies_and_shares_the_estimate_among_the_steps():
    whole = bound(PAPER, DEAD)
    before = {each.part.name: each for each in progress(whole)}
    assert before["paper"].minutes_left == 10 and before["wires"].steps == 2
    run = replace(machine.start(whole), marks={"look": "done", "wire": "done"})
    after = {each.part.name: each for each in progress(whole, run)}
    assert after["paper"].minutes_left == 0 and after["wires"].minutes_left == 5


def test_the_whole_job_of_every_door_is_one_plan():
    for file in sorted((STEPS / "jobs").glob("*.yaml")):
        job = load_job(file)
        whole = plan([load_pack(find_pack(name)) for name in job.packs], frame, job)
        moves = [s.sets.energy for s in whole.steps if s.sets]
        assert moves.count("proven-dead") == 1, file.stem
        assert set(job.packs) <= {part.name for part in whole.pack.parts}
