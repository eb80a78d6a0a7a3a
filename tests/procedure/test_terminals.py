"""Terminal plans: read as offices save them, and what is wrong is named with file and line.

A case is a file in plans/valid or plans/invalid; a new one needs no code. Its comments say

    # job: metric; options brake loop; rows 3    the job it is held against; rows it must have
    # expect: 4 | part of the message            one for each fault, "-" where no line is named
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from assistant.check import check
from assistant.dialogue import sounds
from assistant.dialogue.interpret import interpret_text
from assistant.dialogue.phrases import spoken
from assistant.errors import JobError
from assistant.job import Jobs
from assistant.procedure import inputs, terminals
from assistant.procedure.as_wired import as_wired
from assistant.procedure.load import (
    bind,
    job_texts,
    load_job,
    load_pack,
    load_terminals,
    parse_job,
    parse_pack,
)
from assistant.procedure.terminals import decode, designation, faults
from assistant.quantity import quantity
from tests.procedure.small import JOB, PACK, STEPS, Walk, plan

HERE = Path(__file__).parent / "plans"
STEPS_DIR = Path(__file__).parents[2] / "steps"
VALID = sorted((HERE / "valid").iterdir())
INVALID = sorted((HERE / "invalid").iterdir())
DOORS = sorted((STEPS_DIR / "jobs").glob("pinewharf-d?.yaml"))
# What the issue asks a door's plan to hold, over the four doors together.
KINDS = {
    *("encoder", "brake", "anti-roll-back", "slack-cable", "over-travel", "safety-edge"),
    *("light-beam", "second-light-beam", "loop", "push-button", "pull-cord", "motion-sensor"),
    *("presence-sensor", "interlock", "traffic-light", "fire-contact", "security-contact"),
    *("emergency-stop", "battery-backup"),
}


def alike(one: str, other: str) -> bool:
    return sounds.alike(spoken(one), spoken(other))


def said(path: Path) -> tuple[dict[str, list[str]], list[tuple[str, str]]]:
    """(words of the job line, expected faults) of a case."""
    raw = path.read_bytes()
    text = raw.decode("latin-1") if "not-utf" in path.name else decode(raw, path.name)
    words: dict[str, list[str]] = {}
    for line in re.findall(r"^# job: *(.*?)\r?$", text, re.MULTILINE):
        for part in line.split(";"):
            first, *rest = part.split()
            words[first] = rest
    expected = re.findall(r"^# expect: *(\S+) \| (.*?)\r?$", text, re.MULTILINE)
    return words, expected


def held_against(path: Path) -> tuple[int, list[JobError]]:
    """(rows, faults) of a case for the small job with the case's options."""
    words, _ = said(path)
    code = "metric" if "metric" in words else "american"
    job = parse_job(f"{JOB}code_set: {code}\noptions: [{', '.join(words.get('options', []))}]\n")
    try:
        read = load_terminals(path)
    except JobError as refused:
        return 0, [refused]
    return len(read.rows), faults(read, job, alike)


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.name)
def test_a_valid_plan_is_read_whole_and_without_a_fault(path):
    rows, found = held_against(path)
    assert [str(each) for each in found] == []
    assert rows == int(said(path)[0]["rows"][0])


@pytest.mark.parametrize("path", INVALID, ids=lambda path: path.name)
def test_each_fault_of_an_invalid_plan_is_told_with_its_line(path):
    _, expected = said(path)
    _, found = held_against(path)
    assert expected
    assert [str(each.line or "-") for each in found] == [line for line, _ in expected]
    for fault, (line, part) in zip(found, expected, strict=True):
        assert part in fault.problem
        assert str(fault).startswith(f"{path}:{line}:" if line != "-" else f"{path}:")


def test_cells_are_text_and_nothing_is_evaluated():
    rows = load_terminals(HERE / "valid" / "formula-like-cells.csv").rows
    assert [row.core for row in rows] == ['=HYPERLINK("x")', "+1"]
    assert [row.cable for row in rows] == ["@W4", "-W4"]


def test_where_semicolons_separate_a_comma_is_the_decimal_sign():
    rows = load_terminals(HERE / "valid" / "office-semicolons.csv").rows
    assert [quantity(row.torque).si() for row in rows] == [(0.6, "N.m")] * 2
    assert rows[0].core == "5 grün"


def test_pe_is_an_earth_without_being_told():
    """IEC 60445 keeps the mark PE for the protective conductor (from memory)."""
    rows = load_terminals(HERE / "valid" / "plain.csv").rows
    assert [row.role for row in rows] == ["conductor", "conductor", "earth"]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("-X1:3", "X1:3"),
        ("X1:3", "X1:3"),
        ("=A1+P1-X1:3", "X1:3"),
        ("-x3:sh", "X3:SH"),
        ("-X1:A-2", "X1:A-2"),
        ("PE", "PE"),
    ],
)
def test_one_terminal_is_known_in_every_way_of_writing_it(written, read):
    """Aspects of IEC 81346: = function, + place, - product (from memory)."""
    assert designation(written) == read


# --- jobs that name a plan -----------------------------------------------------------------------


def test_a_job_carries_the_plan_that_it_names(tmp_path):
    (tmp_path / "plans").mkdir()
    source = HERE / "valid" / "office-semicolons.csv"
    (tmp_path / "plans" / "d9.csv").write_bytes(source.read_bytes())
    sheet = tmp_path / "d9.yaml"
    sheet.write_text(f"{JOB}terminals: plans/d9.csv\n")
    job = load_job(sheet)
    assert [row.terminal for row in job.terminals] == ["-X2:5", "-X2:6"]
    texts = job_texts(sheet)
    (tmp_path / "plans" / "d9.csv").unlink()
    assert parse_job(texts["job.yaml"], "kept job", texts) == job  # as the log keeps it


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("plans/none.csv", "can't be read: No such file"),
        ("../d9.csv", "must lie below the job's own folder"),
        ("/etc/hostname", "must lie below the job's own folder"),
        ("{a: b}", "is a list of lines"),
    ],
)
def test_a_plan_that_can_not_be_had_is_named_with_the_job_s_line(tmp_path, name, message):
    sheet = tmp_path / "d9.yaml"
    sheet.write_text(f"{JOB.strip()}\nterminals: {name}\n")
    line = JOB.strip().count("\n") + 2
    with pytest.raises(JobError, match=rf"d9\.yaml:{line}: .*{message}"):
        load_job(sheet)


def test_a_fault_of_a_named_plan_is_told_in_the_plan_s_own_file(tmp_path):
    (tmp_path / "d9.csv").write_text("device,conductor,terminal,voltage_class\nmains,L1,,mains\n")
    sheet = tmp_path / "d9.yaml"
    sheet.write_text(f"{JOB}terminals: d9.csv\n")
    with pytest.raises(JobError, match=r"d9\.csv:2: .*needs a terminal"):
        load_job(sheet)


# --- the four doors ------------------------------------------------------------------------------


@pytest.mark.parametrize("door", DOORS, ids=lambda path: path.stem)
def test_the_plan_of_each_door_has_every_device_of_its_options_and_no_fault(door):
    job = load_job(door)
    assert [str(each) for each in faults(load_terminals(door), job, alike)] == []
    devices = {row.device for row in job.terminals}
    assert devices >= {each for each in job.options if each in terminals.WIRED}
    assert devices >= {"mains", "earth", "motor", "motor-earth"}


def test_every_kind_of_device_occurs_at_one_of_the_doors():
    assert {row.device for door in DOORS for row in load_job(door).terminals} >= KINDS


@pytest.mark.parametrize("door", DOORS, ids=lambda path: path.stem)
def test_each_strip_of_the_doors_keeps_to_one_side_of_the_separation(door):
    """Strips as the project designates them: X1 mains, X2 motor, X3 and X4 24 V."""
    wanted = {"X1": {"mains"}, "X2": {"motor"}, "X3": {"safety"}, "X4": {"control"}}
    for row in load_job(door).terminals:
        if row.role == "conductor":
            strip, point = terminals.strip_and_point(row.terminal)
            assert row.voltage_class in wanted[strip] and point, row


# --- pack and plan -------------------------------------------------------------------------------

WIRING = """
- {id: land, section: wiring, say: "{core}, {conductor}, to {terminal}.",
   for_each: "terminal:brake", needs: {energy: proven-dead}, expects: {confirmation: done}}
- {id: tight, section: wiring, say: "{conductor}: {torque}.", for_each: "terminal:brake",
   needs: {energy: proven-dead}, expects: {confirmation: done}}
- {id: screen, section: wiring, say: "Shield of {cable}, earthed at {earthed_at}.",
   for_each: "shield:encoder", needs: {energy: proven-dead}, expects: {confirmation: done}}
"""
BRAKE = """
terminals:
  - {device: brake, conductor: brake plus, terminal: "-X2:5", voltage_class: motor, core: brown,
     torque: 0.6 N.m}
  - {device: brake, conductor: brake minus, terminal: "-X2:6", voltage_class: motor}
  - {device: brake, conductor: spare core, role: spare, cable: W4}
  - {device: encoder, conductor: encoder plus, terminal: "-X4:1", voltage_class: control}
  - {device: encoder, conductor: encoder shield, role: shield, cable: W9, earthed_at: panel}
"""
AT_WIRES = STEPS.index("- {id: wires")


def wired(job: str = JOB + BRAKE) -> Walk:
    """The small pack with wiring steps, walked to the first of them."""
    walk = Walk(plan(job, STEPS[:AT_WIRES] + WIRING + STEPS[AT_WIRES:]))
    walk.to_gate()
    walk.challenge("lockout-confirmed")
    assert walk.run.at == "land.brake-plus"
    return walk


def table(walk: Walk):
    rows = as_wired(walk.plan, enumerate(walk.events, 1))
    return {row.planned.conductor: row for row in rows}


def test_a_step_speaks_core_conductor_terminal_and_shield():
    steps = {step.id: step.say for step in wired().plan.steps}
    assert steps["land.brake-plus"] == "brown, brake plus, to X2, terminal 5."
    assert steps["land.brake-minus"].startswith("the core by the sheet, brake minus")
    assert steps["screen.encoder-shield"] == "Shield of W9, earthed at panel."
    assert not any("spare" in step for step in steps)


def test_a_device_without_a_shield_has_no_step_for_one():
    rows = BRAKE.replace(BRAKE[BRAKE.index("  - {device: encoder, conductor: encoder sh") :], "")
    assert not any(step.base == "screen" for step in wired(JOB + rows).plan.steps)


def test_what_a_pack_forgets_is_listed_and_spare_cores_are_not():
    walk = wired()
    left = terminals.unasked(walk.plan.job.terminals, walk.plan.steps)
    assert [row.conductor for row in left] == ["encoder plus"]
    half = terminals.unasked_of_touched(walk.plan.job.terminals, walk.plan.steps)
    assert [row.conductor for row in half] == ["encoder plus"]
    no_shield = [step for step in walk.plan.steps if step.base != "screen"]
    assert terminals.unasked_of_touched(walk.plan.job.terminals, no_shield) == []
    every = terminals.unasked(walk.plan.job.terminals, no_shield)
    assert [row.conductor for row in every] == ["encoder plus", "encoder shield"]


def test_power_entry_asks_for_every_conductor_of_the_mains_at_every_door():
    pack = load_pack(STEPS_DIR / "power-entry")
    for door in DOORS:
        job = load_job(door)
        left = terminals.unasked(job.terminals, bind(pack, job).steps)
        assert not [row for row in left if row.device in ("mains", "earth")], door


# --- as wired ------------------------------------------------------------------------------------


def test_before_a_conductor_is_landed_it_is_not_done():
    states = {name: row.state for name, row in table(wired()).items()}
    assert states == {
        "brake plus": "not done",
        "brake minus": "not done",
        "spare core": "not asked",
        "encoder plus": "not asked",
        "encoder shield": "not done",
    }


def test_a_conductor_is_done_when_landing_and_tightening_were_confirmed():
    walk = wired()
    walk.confirm("done")
    walk.confirm("done")
    landed = table(walk)["brake plus"]
    assert landed.state == "not done"  # landed, not tightened
    assert [each.step for each in landed.settled] == ["land.brake-plus"]
    walk.put(inputs.Confirm(word="done"), who="lead")
    row = table(walk)["brake plus"]
    assert row.state == "done" and row.remark == ""
    assert [each.step for each in row.settled] == ["land.brake-plus", "tight.brake-plus"]
    assert row.last and row.last.who == "lead"
    assert row.last.seq == len(walk.events) and row.last.at_s == walk.at_s
    assert row.planned.terminal == "-X2:5" and row.planned.torque == "0.6 N.m"


def test_unable_is_a_deviation_with_its_reason():
    walk = wired()
    walk.put(inputs.Unable(reason="core too short"))
    row = table(walk)["brake plus"]
    assert (row.state, row.remark) == ("deviation", "core too short")
    walk.put(inputs.Unable())
    assert table(walk)["brake minus"].remark == "unable, without a reason"


def test_a_remark_at_a_conductor_makes_it_a_deviation_until_somebody_has_read_it():
    walk = wired()
    walk.put(inputs.Note(text="clamp is cracked"))
    walk.confirm("done")
    walk.confirm("done")
    walk.confirm("done")
    rows = table(walk)
    assert (rows["brake plus"].state, rows["brake plus"].remark) == (
        "deviation",
        "clamp is cracked",
    )
    assert rows["brake minus"].state == "not done"


def test_a_step_taken_up_again_is_open_again():
    walk = wired()
    walk.confirm("done")
    assert table(walk)["brake plus"].settled
    walk.command("go-back")
    assert table(walk)["brake plus"].settled == ()


def test_landing_survives_a_lost_proof():
    """Power coming on takes the proof away, not the wire out of its clamp."""
    walk = wired()
    walk.confirm("done")
    walk.put(inputs.PowerOn())
    assert [each.step for each in table(walk)["brake plus"].settled] == ["land.brake-plus"]


def test_a_pack_may_not_use_a_terminal_s_words_elsewhere():
    steps = STEPS + "- {id: t, section: x, say: '{core}', expects: {confirmation: done}}\n"
    with pytest.raises(Exception, match=r"placeholder \{core\} is not known"):
        parse_pack({"pack.yaml": PACK, "steps.yaml": steps}, "small")


# --- the check command ---------------------------------------------------------------------------


def test_check_lists_all_faults_of_a_job_s_plan_at_once_and_what_no_pack_asks_for(tmp_path):
    (tmp_path / "d9.csv").write_text(
        "device,conductor,role,terminal,voltage_class,cable,earthed_at\n"
        "mains,L1,,-X1:1,mains,,\nmains,L2,,-X1:2,mains,,\nmains,L3,,-X1:3,mains,,\n"
        "earth,PE,,-X1:4,,,\nmotor,U,,-X2:1,motor,W3,\nmotor,shield,shield,,,W3,none\n"
        "brake,brake plus,,-X2:2,motor,,\nloop,lead,,-X2:3,control,,\n"
        "mains,screen,shield,,,W1,panel\n"
    )
    sheet = tmp_path / "d9.yaml"
    wire = "earth_conductor: {length: 85 ft, section: 12 AWG}\n"
    sheet.write_text(f"{JOB}{wire}terminals: d9.csv\noptions: [brake]\n")
    checked, found = check([sheet])
    told = [(each.line, each.problem) for each in found if each.file.endswith("d9.csv")]
    assert [line for line, _ in told] == [7, 9, 9]
    assert "nowhere" in told[0][1] and "among its options" in told[1][1]
    assert "lies beside" in told[2][1]
    (about,) = [each for each in checked if each.what == "lines"]
    assert about.steps == 9
    assert "pack power-entry doesn't ask for mains (screen)" in about.notes
    assert any("brake (brake plus)" in note for note in about.notes)


def test_check_takes_a_plan_by_itself():
    checked, found = check([HERE / "invalid" / "used-twice.csv"])
    assert checked == [] and [each.line for each in found] == [4]
    checked, found = check([STEPS_DIR / "jobs" / "plans" / "d4.yaml"])
    assert found == [] and [each.what for each in checked] == ["lines"]


# --- landed elsewhere, by voice ------------------------------------------------------------------


def say(walk: Walk, text: str) -> list[str]:
    return walk.put(interpret_text(text, walk.plan, walk.run))


def test_a_core_landed_elsewhere_is_read_back_and_stands_as_an_open_point():
    walk = wired()
    assert say(walk, "landed on X two terminal one two") == ["read-back"]
    assert walk.run.pending and walk.run.pending.word == "landed on X2, terminal 12"
    assert walk.run.at == "land.brake-plus" and not walk.run.open_points
    kinds = say(walk, "affirm")
    assert "open-point" in kinds and walk.run.at == "land.brake-minus"
    row = table(walk)["brake plus"]
    assert (row.state, row.remark) == ("deviation", "landed on -X2:12, planned -X2:5")


def test_what_else_is_planned_for_that_terminal_is_said_with_it():
    walk = wired()
    say(walk, "landed on X two terminal six")
    say(walk, "affirm")
    assert walk.run.open_points[0].reason.endswith("-X2:6 is planned for brake, brake minus")


def test_a_wrong_read_back_changes_nothing():
    walk = wired()
    say(walk, "landed on X two terminal seven")
    say(walk, "negative")
    assert walk.run.at == "land.brake-plus" and not walk.run.open_points and not walk.run.pending


@pytest.mark.parametrize("spot", ["X four terminal one", "X four terminal nine"])
def test_power_on_a_low_voltage_strip_can_not_be_passed_over_by_it(spot):
    walk = wired()
    say(walk, f"landed on {spot}")
    assert say(walk, "affirm") == ["open-point"]
    assert walk.run.at == "land.brake-plus" and "land.brake-plus" not in walk.run.marks
    row = table(walk)["brake plus"]
    assert row.state == "deviation" and "landed on -X4" in row.remark
    assert walk.put(inputs.Unable(reason="later")) == ["open-point"]
    assert walk.run.at == "land.brake-plus"
    assert "landed on -X4" in walk.run.open_points[0].reason
    walk.confirm("done")  # moved to where it belongs
    assert walk.run.open_points == ()
    assert walk.run.at == "land.brake-minus"
    walk.confirm("done")
    walk.confirm("done")
    assert table(walk)["brake plus"].state == "done"


def test_a_core_on_an_earth_terminal_can_not_be_passed_over_by_it():
    earth = '  - {device: motor-earth, conductor: motor PE, terminal: "-X2:4"}\n'
    walk = wired(JOB + BRAKE + earth)
    say(walk, "landed on X two terminal four")
    assert say(walk, "affirm") == ["open-point"]
    assert walk.run.at == "land.brake-plus"


def test_naming_the_planned_terminal_confirms_nothing():
    walk = wired()
    assert say(walk, "landed on X two terminal five") == ["ask-again"]
    assert walk.run.at == "land.brake-plus" and walk.run.pending is None


def test_only_a_conductor_s_step_takes_it():
    walk = Walk()
    assert say(walk, "landed on X two terminal seven") == ["ask-again"]
    walk.put(inputs.Landed(strip="X2", point="7"))
    assert walk.run.pending is None


def test_what_was_landed_is_replayed_from_the_log_s_own_text():
    event = inputs.Event(input=inputs.Landed(strip="X2", point="7"), at_s=1.0)
    assert inputs.Event.model_validate_json(event.model_dump_json()) == event


# --- in a job on record --------------------------------------------------------------------------


def test_a_plan_edited_later_changes_nothing_in_a_job_on_record(tmp_path):
    shutil.copytree(STEPS_DIR / "jobs", tmp_path / "jobs")
    sheet, file = tmp_path / "jobs" / "pinewharf-d1.yaml", tmp_path / "jobs" / "plans" / "d1.csv"
    job_id = Jobs(tmp_path / "data").new(sheet, "power-entry").job_id
    file.write_text(file.read_text().replace("-X1:1,", "-X1:9,"))
    kept = Jobs(tmp_path / "data").open(job_id).plan.job.terminals
    assert kept == load_job(STEPS_DIR / "jobs" / "pinewharf-d1.yaml").terminals
    assert load_job(sheet).terminals != kept


def test_the_table_is_worked_out_from_the_entries_of_a_real_log(tmp_path):
    jobs = Jobs(tmp_path / "data")
    session = jobs.new(STEPS_DIR / "jobs" / "pinewharf-d2.yaml", "power-entry")
    entries = jobs.store.entries(session.job_id)
    events = [(e.seq, inputs.Event.model_validate(e.body["event"])) for e in entries if e.seq > 1]
    rows = as_wired(session.plan, events)
    assert [row.planned for row in rows] == list(session.plan.job.terminals)
    states = {row.planned.device: row.state for row in rows}
    assert states["mains"] == states["earth"] == "not done" and states["brake"] == "not asked"
