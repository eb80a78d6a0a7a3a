"""A fault that a yearly service finds is repaired, tested again and recorded in the same visit."""

from __future__ import annotations

import io

import pytest
from pypdf import PdfReader

from assistant import rehearse
from assistant.faults.found import faults
from assistant.records.log import verify
from assistant.records.report import commissioning_record
from tests.faults.test_live import SEEN, floor, new, replayed, say, search
from tests.packs import helpful

AFTER = "reset-after-repair"
LIMIT = ("find the fault", "gap at the floor", "it is safe")
LIMIT += ("I found it, a close limit set too high",)


@pytest.fixture
def service(tmp_path):
    session, clock = new(tmp_path, "pinewharf-d1-service")
    yield session, clock
    session.store.close()


def line_at(session, changed):
    """The right answer to the present step; of the parts only those of `changed` were touched."""
    step = session.plan.step(session.run.at)
    if not session.run.pending and step.pack == AFTER and step.section == "what was changed":
        choice = step.expects.choice or {}
        if step.id == "repair-any":
            return f"lead: {'a part was changed' if changed else 'nothing was changed'}"
        if "left alone" in choice:
            return f"lead: {'it was changed' if step.id in changed else 'left alone'}"
    if not session.run.pending and "left alone" in (step.expects.choice or {}):
        return "lead: left alone"  # settings
    return helpful._line(session, {})


def go_on(session, clock, until, changed=()):
    for _ in range(900):
        if until():
            return
        list(rehearse.play_text(session, clock, rehearse.read_script(line_at(session, changed))))
    raise AssertionError(f"stuck at {session.run.at}")


def asked(session, since=0):
    """Steps that were entered, in order, by their name in the pack."""
    ids = [
        effect["step"]
        for entry in session.store.entries(session.job_id)
        if entry.seq > since
        for effect in entry.body.get("effects", ())
        if effect["kind"] == "entered"
    ]
    return [session.plan.step(each).base or each for each in ids]


def of_pack(session, ids, pack):
    own = {step.base or step.id for step in session.plan.steps if step.pack == pack}
    return [each for each in ids if each in own]


def last_seq(session):
    return list(session.store.entries(session.job_id))[-1].seq


def isolations(session):
    return asked(session).count("disconnect-off")


def test_a_fault_found_in_the_yearly_check_is_repaired_tested_and_recorded_in_one_visit(service):
    session, clock = service
    go_on(session, clock, lambda: session.run.at == "svc-limits")
    assert of_pack(session, asked(session), AFTER) == ["repair-any"]  # nothing was changed so far
    assert "svc-run" in asked(session) and session.run.ledger.state == "energised"
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    assert session.run.ledger.state == "proven-dead" and isolations(session) == 2
    turn = say(session, clock, "repaired")
    assert "Do these again, in this order: reset after repair and safety tests." in turn.replies[0]
    repaired = last_seq(session)
    go_on(session, clock, lambda: session.run.finished)
    again = of_pack(session, asked(session, repaired), AFTER)
    assert {"repair-beam-seat", "repair-line-up", "repair-watched", "repair-beam-point"} <= {*again}
    left = {"repair-motor-earth", "repair-jog", "repair-edge-ohms", "repair-tune", "repair-low"}
    assert not left & {*again}
    tested = of_pack(session, asked(session, repaired), "safety-tests")
    assert {"beam-before", "beam-sender", "stop-panel-opening", "edge-50-left"} <= {*tested}
    assert not {"svc-inside", "svc-run", "looks-opening"} & {*asked(session, repaired)}
    order = [each for each in asked(session) if each in ("repair-line-up", "svc-limits", "verdict")]
    assert order == ["svc-limits", "repair-line-up", "svc-limits", "verdict"]
    assert asked(session)[-1] == "end-barriers"
    assert session.finding.live.over and search(session).retests == ()
    assert verify(session.store, session.job_id).ok
    assert replayed(session) == (session.run, session.finding)
    (row,) = faults(session.store.entries(session.job_id))
    assert row.repaired and row.solved and {state for _, state in row.retests} == {"passed"}
    pdf = commissioning_record(session.store, "j1", session.plan, faults=(row,))
    read = PdfReader(io.BytesIO(pdf))
    page = " ".join("".join(each.extract_text() for each in read.pages).split())
    assert "Cause: a beam without supply" in page
    assert "Tests after it: reset after repair passed; safety tests passed." in page


def test_a_fault_found_by_the_looks_waits_for_the_isolation_of_the_service(service):
    """The looks in use go on, and one isolation serves the service and the repair."""
    session, clock = service
    go_on(session, clock, lambda: session.run.at == "looks-opening")
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    assert session.run.ledger.state == "proven-dead" and isolations(session) == 1
    say(session, clock, "repaired")
    assert session.run.answers["repair-any"] == "a part was changed"
    go_on(session, clock, lambda: session.run.finished)
    assert {"repair-beam-seat", "svc-inside", "svc-run"} <= {*asked(session)}
    assert isolations(session) == 1 and session.finding.live.over
    assert search(session).retests == ()


def test_a_setting_that_is_put_right_at_the_live_door_asks_for_no_second_isolation(service):
    session, clock = service
    go_on(session, clock, lambda: session.run.at == "svc-limits")
    turn = say(session, clock, *LIMIT)
    assert search(session).phase == "repair", turn.replies
    kind = session.finding.door.guide.causes[search(session).cause].repair
    assert session.finding.door.guide.repairs[kind].setting
    repaired = last_seq(session)
    say(session, clock, "repaired")
    go_on(session, clock, lambda: session.run.finished)
    again = of_pack(session, asked(session, repaired), AFTER)
    assert {"repair-hold", "repair-low", "repair-both-held"} <= {*again}
    assert not {"repair-bridges", "repair-motor", "repair-encoder-seat"} & {*again}
    assert isolations(session) == 1 and session.finding.live.over


def test_a_second_repair_asks_none_of_the_tests_of_the_first_away(service):
    session, clock = service
    go_on(session, clock, lambda: session.run.at == "svc-limits")
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    say(session, clock, "repaired")
    go_on(session, clock, lambda: session.run.at == "repair-line-up")
    say(session, clock, "find the fault", "leave the search")
    say(session, clock, *LIMIT, "repaired")
    assert session.run.answers["repair-any"] == "a part was changed"
    assert session.run.answers["repair-beam"] == "it was changed"
    seq = last_seq(session)
    go_on(session, clock, lambda: session.run.finished)
    assert {"repair-line-up", "repair-low"} <= {*of_pack(session, asked(session, seq), AFTER)}


# --- a repair visit: first look and listen, then isolate ----------------------------------------


@pytest.fixture
def repair(tmp_path):
    session, clock = new(tmp_path, "pinewharf-d1-repair")
    yield session, clock
    session.store.close()


def test_the_guide_asks_its_live_checks_with_the_panel_shut_before_the_isolation(repair):
    session, clock = repair
    go_on(session, clock, lambda: session.run.at == "first-cause")
    assert session.run.ledger.state == "energised" and isolations(session) == 0
    say(
        session, clock, "find the fault", "the door overshoots and bangs on the floor", "it is safe"
    )
    checks, looked = session.finding.door.guide.checks, []
    while search(session).asked:
        looked.append(checks[search(session).asked])
        say(session, clock, "don't know")
    assert any(check.needs == "energised" for check in looked)
    assert not any(check.live for check in looked)
    assert search(session).waiting and isolations(session) == 0
    say(session, clock, "go there")
    go_on(session, clock, lambda: floor(session))
    assert session.run.ledger.state in ("locked", "proven-dead") and isolations(session) == 1


def test_a_door_found_dead_or_locked_is_isolated_first_and_never_run_for_a_look(repair):
    session, clock = repair
    go_on(session, clock, lambda: session.run.at == "found-live")
    say(session, clock, "it is off", "affirm")
    go_on(session, clock, lambda: session.run.finished, ("repair-edge",))
    seen = asked(session)
    assert not of_pack(session, seen, "repair-looks") and "panel-shut" not in seen
    order = [each for each in seen if each in ("found-live", "disconnect-off", "clear-gate-again")]
    assert order == ["found-live", "disconnect-off", "clear-gate-again"]
    assert session.run.open_points == () and verify(session.store, session.job_id).ok
