"""Whole jobs without a person: as text, and spoken by natural voices through the recogniser."""

from __future__ import annotations

import itertools
import json

import pytest

from assistant import rehearse, resources
from assistant.cli import main
from assistant.clock import SetClock
from assistant.job import Jobs
from assistant.procedure import inputs
from assistant.records.log import verify

SCRIPTS = sorted((resources.steps_dir() / "jobs").glob("*.rehearsal.txt"))


def new_session(folder, name, recogniser=None):
    clock = SetClock()
    # Drawn digits would make a spoken test another one each time: voices differ in what is hard.
    digits = itertools.cycle(("47", "62", "76", "24"))
    jobs = Jobs(folder, recogniser, clock=clock, challenge=lambda: next(digits))
    return jobs, jobs.new(name, "power-entry"), clock


def script_of(name):
    file = resources.steps_dir() / "jobs" / f"{name}.rehearsal.txt"
    return rehearse.read_script(file.read_text(), str(file))


@pytest.mark.parametrize("file", SCRIPTS, ids=lambda path: path.stem)
def test_each_demo_script_leads_its_job_to_a_finished_and_whole_record(file, tmp_path):
    name = file.name.removesuffix(".rehearsal.txt")
    jobs, session, clock = new_session(tmp_path, name)
    played = list(rehearse.play_text(session, clock, script_of(name)))
    assert session.run.finished and session.run.open_points == ()
    assert verify(jobs.store, session.job_id).ok
    assert not [p.said for p in played if p.turn.tone == "not-understood"]


def test_a_script_line_that_is_nothing_is_named_with_its_place():
    with pytest.raises(rehearse.ScriptError, match=r"s\.txt:2: 'mumble' is no line of a script"):
        rehearse.read_script("lead: done\nmumble\n", "s.txt")


def test_the_same_meaning_counts_as_the_same_input_whatever_the_words():
    one = inputs.Reading(value="460", unit="volt", said="four sixty volts")
    two = inputs.Reading(value="460", unit="volt", said="four six zero volts")
    assert rehearse.same_input(one, two)
    assert not rehearse.same_input(one, inputs.Reading(value="416", unit="volt"))


def test_noise_is_mixed_at_the_ratio_asked_for():
    import numpy as np

    speech = (3000 * np.sin(np.arange(16_000) * 0.2)).astype(np.int16)
    for snr_db in (20, 10):
        mixed = rehearse.add_noise(speech, snr_db, seed=1).astype(float)
        noise_rms = np.sqrt(np.mean(mixed[:4000] ** 2))
        speech_rms = np.sqrt(np.mean(speech.astype(float) ** 2))
        assert 20 * np.log10(speech_rms / noise_rms) == pytest.approx(snr_db, abs=2)


def test_rehearse_prints_json_with_turns_readings_and_a_verified_record(capsys):
    script = resources.steps_dir() / "jobs" / "pinewharf-d2.rehearsal.txt"
    status = main(
        ["rehearse", "power-entry", "--job", "pinewharf-d2", "--script", str(script), "--json"]
    )
    shown = json.loads(capsys.readouterr().out)
    assert status == 0 and shown["finished"] and shown["record"]["good"]
    assert {"heard", "understood", "replied", "logged"} <= set(shown["turns"][0])


@pytest.mark.slow
def test_a_whole_job_spoken_by_two_voices_in_noise_ends_in_a_right_record(tmp_path):
    """Two natural voices, 20 dB over noise, real endpointer and recogniser, all of door D1."""
    from assistant.speech import engines
    from tests.speech.voices import say

    _, text, clock = new_session(tmp_path / "text", "pinewharf-d1")
    list(rehearse.play_text(text, clock, script_of("pinewharf-d1")))

    jobs, session, clock = new_session(tmp_path / "sound", "pinewharf-d1", engines.load("whisper"))
    seeds = iter(range(10_000))

    def sound(words, who):
        speech = say(words, {"lead": "joe", "helper": "rms"}[who])
        return rehearse.add_noise(speech, 20, seed=next(seeds))

    played = list(rehearse.play_spoken(session, clock, script_of("pinewharf-d1"), sound))
    assert session.run.finished
    wanted = {n: (t.quantity, t.special) for n, t in text.run.readings.items()}
    found = {n: (t.quantity, t.special) for n, t in session.run.readings.items()}
    assert found == wanted
    assert verify(jobs.store, session.job_id).ok
    before_open = [p for p in played[: _opened(played)] if p.turn.tone == "refused"]
    codes = [e.missing for p in before_open for e in p.turn.effects if e.kind == "refused"]
    assert any("lock:lead" in c for c in codes) and ("challenge-wrong",) in codes


def _opened(played):
    return next(i for i, p in enumerate(played) if p.turn.energy == "proven-dead")


LIVE = ("power-up", "travel-limits", "alignment", "travel-guard", "auto-close", "trial-run")


@pytest.mark.slow
def test_power_up_to_trial_run_spoken_by_two_voices_ends_in_the_record_of_the_typed_one(tmp_path):
    """Door D1 from the first movement to the trial run: lead and helper, 20 dB over noise."""
    from assistant.speech import engines
    from tests.packs import helpful
    from tests.packs.test_whole_jobs import said_at
    from tests.speech.voices import say

    said = said_at("pinewharf-d1") | {
        "closed-limit": "12",
        "open-limit": "385",
        "cycle-count": "47",
    }
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    typed = Jobs(tmp_path / "typed", clock=clock, challenge=lambda: next(digits))
    text = typed.new("pinewharf-d1", *LIVE)
    for person in text.plan.job.people:
        text.join(person, person)
    for line in helpful.lines(text, said):
        list(rehearse.play_text(text, clock, rehearse.read_script(line)))

    clock, again = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    ear = engines.load("whisper")
    jobs = Jobs(tmp_path / "spoken", ear, clock=clock, challenge=lambda: next(again))
    session, seeds = jobs.new("pinewharf-d1", *LIVE), iter(range(10_000))

    def sound(words, who):
        speech = say(words, {"lead": "joe", "helper": "rms"}[who])
        return rehearse.add_noise(speech, 20, seed=next(seeds))

    played = []
    for line in helpful.lines(session, said):
        played += rehearse.play_spoken(session, clock, rehearse.read_script(line), sound)
    assert session.run.finished and session.run.open_points == ()
    wanted = {n: (t.quantity, t.special) for n, t in text.run.readings.items()}
    assert {n: (t.quantity, t.special) for n, t in session.run.readings.items()} == wanted
    assert verify(jobs.store, session.job_id).ok
    spoken = [p for p in played if p.line.text]
    assert sum(p.right for p in spoken if p.tries == 1) >= 0.8 * len(spoken)


def test_a_person_says_the_value_again_when_it_went_with_a_misheard_affirm(tmp_path):
    """The ear takes the first AFFIRM of a value for NEGATIVE; the record still is the typed one."""
    _, typed, clock = new_session(tmp_path / "typed", "pinewharf-d2")
    list(rehearse.play_text(typed, clock, script_of("pinewharf-d2")))
    _, session, clock = new_session(tmp_path / "misheard", "pinewharf-d2")
    words, misheard = [], []

    def sound(said, who):
        words.append(said)

    def ear(who, samples):
        said = words[-1]
        waiting = session.run.pending
        to_affirm = said == "that is correct" and waiting.kind == "reading"
        if to_affirm and waiting.step not in misheard:
            misheard.append(waiting.step)
            said = ("negative", "one two")[len(misheard) % 2]
        clock.pass_s(rehearse.TURN_S)
        session.join(who, who)
        return session.say(who, said, via="text")

    list(rehearse.play_spoken(session, clock, script_of("pinewharf-d2"), sound, ear))
    assert session.run.finished and len(misheard) > 5 and "negative" in words
    wanted = {n: (t.quantity, t.special) for n, t in typed.run.readings.items()}
    assert {n: (t.quantity, t.special) for n, t in session.run.readings.items()} == wanted
