"""What earlier visits left in the panel speaks for a cause; their record alone tells it."""

from __future__ import annotations

import itertools
import shutil
import threading

import pytest

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.finding import read_ahead, searches
from assistant.job import Jobs, JobSession
from assistant.records.history import answers
from tests.faults.test_live import replayed, say
from tests.packs import helpful


@pytest.fixture
def jobs(tmp_path):
    digits = itertools.cycle(("47", "62", "76", "24"))
    found = Jobs(tmp_path, clock=SetClock(), challenge=lambda: next(digits))
    yield found
    found.store.close()


def visit(jobs, name, *packs):
    session = jobs.new(name, *packs)
    for person in session.plan.job.people:
        session.join(person, person)
    return session


def work(jobs, session, until, **instead):
    """Right answers but those of `instead` (step -> answer), until a step is reached."""
    clock = jobs._parts["clock"]
    for _ in range(400):
        if session.run.finished or session.run.at == until:
            return
        step = (session.run.at or "").replace("-", "_")
        said = f"lead: {instead[step]}" if step in instead else ""
        line = said if said and not session.run.pending else helpful._line(session, {})
        list(rehearse.play_text(session, clock, rehearse.read_script(line)))
    raise AssertionError(f"stuck at {session.run.at}")


def search_at(jobs, name, *lines):
    session = visit(jobs, name)
    turn = say(session, jobs._parts["clock"], "find the fault", *lines)
    return session, turn


def chance(session, cause):
    door, search = session.finding.door, session.finding.live.search
    return door.chances(door.guide.symptoms[search.symptom])[cause]


def test_a_panel_that_an_earlier_visit_left_at_hold_to_run_is_told_and_counted(jobs):
    before, _ = search_at(jobs, "pinewharf-d1-repair", "have to hold the button", "it is safe")
    earlier = visit(jobs, "pinewharf-d1", "travel-guard")
    work(jobs, earlier, "stand-clear")
    assert ("hold-to-run", "") in answers(jobs.store, earlier.job_id, ["hold-to-run"])
    here, _ = search_at(jobs, "pinewharf-d1-repair", "have to hold the button", "it is safe")
    was, now = chance(before, "hold-to-run-set"), chance(here, "hold-to-run-set")
    assert now / (1 - now) == pytest.approx(10 * was / (1 - was))  # the hint's factor
    clock = jobs._parts["clock"]
    told = " ".join(say(here, clock, "I found it, a panel set to hold to run").replies)
    assert here.finding.live.search.cause == "hold-to-run-set", told
    assert replayed(here) == (here.run, here.finding)


def test_the_reason_for_a_cause_names_the_settings_on_record(jobs):
    work(jobs, visit(jobs, "pinewharf-d1", "travel-guard"), "stand-clear")
    here, turn = search_at(jobs, "pinewharf-d1-repair", "have to hold the button", "it is safe")
    turn = say(here, jobs._parts["clock"], "I found it")
    assert "the settings on record say hold to run" in " ".join(turn.replies), turn.replies


@pytest.mark.parametrize(("answer", "factor"), [("left off", 10), ("on and tested", 1)])
def test_automatic_closing_as_a_service_left_it_is_known_to_the_next_visit(jobs, answer, factor):
    lines = ("auto close does not work", "it is safe")
    before, _ = search_at(jobs, "pinewharf-d1-repair", *lines)
    service = visit(jobs, "pinewharf-d1-service", "service-close")
    work(jobs, service, "", end_automatic=answer)
    here, _ = search_at(jobs, "pinewharf-d1-repair", *lines)
    was, now = chance(before, "dwell-zero"), chance(here, "dwell-zero")
    assert now / (1 - now) == pytest.approx(factor * was / (1 - was))


def test_what_a_later_step_put_back_and_what_another_door_has_says_nothing(jobs):
    work(jobs, visit(jobs, "pinewharf-d2", "travel-guard"), "stand-clear")  # another door
    work(jobs, visit(jobs, "pinewharf-d1", "travel-guard"), "stand-clear")
    trial = visit(jobs, "pinewharf-d1", "trial-run")
    work(jobs, trial, "trial-sound")  # ten full cycles: the mode is no longer that
    here, _ = search_at(jobs, "pinewharf-d1-repair", "have to hold the button", "it is safe")
    assert "hold-to-run-set" not in here.finding.door.hints


def test_the_guide_is_read_once_and_before_anybody_asks_for_it(jobs):
    from assistant.faults.load import _guide_of

    def readers_done():
        for thread in threading.enumerate():
            if thread.name == "fault guide":
                thread.join()

    readers_done()  # those of other tests
    _guide_of.cache_clear()
    session = visit(jobs, "pinewharf-d1-repair")
    readers_done()
    assert _guide_of.cache_info().misses == 1
    say(session, jobs._parts["clock"], "find the fault", "have to hold the button")
    assert searches(jobs.store, session.job_id)[0].symptom
    assert _guide_of.cache_info().misses == 1 and _guide_of.cache_info().hits > 1


def test_a_guide_that_cannot_be_read_is_told_to_whoever_asks_and_the_steps_go_on(
    jobs, tmp_path, monkeypatch
):
    steps = tmp_path / "steps"
    shutil.copytree(resources.steps_dir() / "faults", steps / "faults")
    causes = (steps / "faults" / "causes.yaml").read_text(encoding="utf-8")
    (steps / "faults" / "causes.yaml").write_text(causes + "- id: [\n", encoding="utf-8")
    session = visit(jobs, "pinewharf-d1-repair")
    monkeypatch.setattr("assistant.finding.resources.steps_dir", lambda: steps)
    read_ahead().join()  # leaves the fault to whoever asks
    before = session.run
    for _ in range(2):
        turn = say(session, jobs._parts["clock"], "find the fault")
        assert "causes.yaml" in turn.replies[0] and turn.tone == "refused" and not turn.seq
    assert session.run == before and session.finding.live is None
    say(session, jobs._parts["clock"], helpful._line(session, {}).partition(": ")[2])
    assert session.run != before


def test_the_visits_own_switching_off_speaks_for_nothing(jobs):
    """The looks switch automatic closing off; the fault was there before."""
    session = visit(jobs, "pinewharf-d1-service")
    work(jobs, session, "looks-opening")
    clock = jobs._parts["clock"]
    say(session, clock, "find the fault", "auto close does not work", "it is safe")
    assert "dwell-zero" not in session.finding.door.hints
    again = JobSession.resume(session.job_id, jobs.store, clock=clock)
    assert again.finding.door.hints == session.finding.door.hints
