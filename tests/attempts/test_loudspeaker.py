"""The assistant hears itself: what it says, voiced and recognised, opens nothing.

The ear is shut while a loudspeaker speaks; this is the case in which that failed. Each reply up
to the gate and at it is heard in the state in which it was spoken, whole and cut at its pauses.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.dialogue.grammar import expected
from assistant.dialogue.interpret import interpret
from assistant.job import Jobs
from assistant.procedure import inputs, machine
from assistant.speech.audio import read_sound
from assistant.speech.endpoint import Endpointer
from assistant.speech.engines import load
from assistant.speech.espeak_voice import EspeakVoice

JOB = "pinewharf-d1"


@pytest.fixture(scope="module")
def ear():
    return load("whisper")


def turns_up_to_the_gate(session, clock):
    """The job's own script, until hands may go in; each turn with the run it left."""
    file = resources.steps_dir() / "jobs" / f"{JOB}.rehearsal.txt"
    for played in rehearse.play_text(session, clock, rehearse.read_script(file.read_text())):
        yield played.turn.replies, session.run
        if session.run.ledger.state == "proven-dead":
            return


def pieces(samples):
    """A reply as a microphone in the room would pass it on: whole, and cut at its pauses."""
    ear = Endpointer()
    cut = [each.samples for each in (*ear.feed(samples), *ear.flush())]
    return [samples, *(cut if len(cut) > 1 else [])]


def proof(ledger):
    """What the ledger holds as proven, times left out."""
    return replace(ledger, isolated_at_s=None)


def opens(plan, run, what):
    """How an input, given as any of the people, would take the job on; "" if it doesn't."""
    for who in run.ledger.people:
        event = inputs.Event(input=what, at_s=run.last_s, who=who)
        after = machine.advance(plan, run, event).run
        if after.ledger.state != "unknown" and proof(after.ledger) != proof(run.ledger):
            return f"changes the proof to {after.ledger}"
        gates = {step.id for step in plan.steps if step.gate}
        if gates & (set(after.marks) - set(run.marks)):
            return "marks a gate step"
        if after.pending != run.pending and after.pending and after.pending.digits:
            return "reads the gate's phrase back"
    return ""


def test_no_reply_that_is_heard_opens_or_advances_a_gate(ear, tmp_path):
    clock, drawn = SetClock(), iter(["47", "52", "63", "85", "96", "18"] * 9)
    jobs = Jobs(tmp_path, clock=clock, challenge=lambda: next(drawn))
    session = jobs.new(JOB, "power-entry")
    voice, played, broken = EspeakVoice(tmp_path / "voice"), set(), []
    for replies, run in turns_up_to_the_gate(session, clock):
        listening = expected(session.plan, run)
        for text in replies:
            asked = (text, listening.templates)
            if asked in played:
                continue
            played.add(asked)
            for samples in pieces(read_sound(voice.speak(text))):
                heard = ear.hear(samples, listening)
                what = interpret(heard, session.plan, run)
                found = opens(session.plan, run, what)
                if found:
                    broken.append(f"'{text}' heard as '{heard.text}' at {run.at}: {found}")
    jobs.store.close()
    assert session.run.ledger.state == "proven-dead"
    assert len(played) > 60
    assert not broken, "\n".join(broken)
