"""Three faults by voice: from the first word to repaired, tested again and recorded."""

from __future__ import annotations

import itertools

import pytest

from assistant import rehearse
from assistant.records.log import verify
from tests.faults.test_live import floor, go_on, new, replayed, search
from tests.packs import helpful
from tests.speech.voices import say

OPEN, DONE = "find the cause | something is wrong", "it is repaired | the repair is done"
# "..." stands for the steps of the job, until the guide has the floor again.
CASES = {
    "a beam out of line at D1": (
        "pinewharf-d1-repair",
        "beam-misaligned",
        [
            *(
                OPEN,
                "door will not close",
                "it is safe",
                "tell me why",
                "what else",
            ),
            *("no", "I found it, a beam out of line", "go there", "..."),
            DONE,
        ],
    ),
    "an earth fault in the motor cable of D2": (
        "pinewharf-d2-repair",
        "motor-cable-earth-fault",
        [
            *(
                OPEN,
                "breaker trips",
                "it is safe",
                "go there",
                "...",
            ),
            *("no", "zero point two megohms | zero point two meg", "that is correct | affirm"),
            *("I found it", "yes", DONE),
        ],
    ),
    "a poor earth at D4": (
        "pinewharf-d4-repair",
        "earth-poor",
        [
            *(
                OPEN,
                "random resets",
                "it is safe",
                "go there",
                "...",
            ),
            *("two point four ohms", "that is correct | affirm", "I found it"),
            *("yes", DONE),
        ],
    ),
}
SPOKEN_TESTS = 2  # steps of the tests after the repair that are spoken; the rest is typed


@pytest.fixture(scope="module")
def ear():
    from assistant.speech import engines

    return engines.load("whisper")


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_a_fault_by_voice_is_found_repaired_tested_again_and_recorded(case, ear, tmp_path):
    """Two natural voices, 20 dB over noise, through endpointer and recogniser."""
    job, cause, lines = CASES[case]
    session, clock = new(tmp_path, job, ear)
    seeds = itertools.count()

    def sound(words, who):
        speech = say(words, {"lead": "joe", "helper": "rms"}[who])
        return rehearse.add_noise(speech, 20, seed=next(seeds))

    def spoken(line):
        played = list(rehearse.play_spoken(session, clock, rehearse.read_script(line), sound))
        assert played[-1].right, (line, [p.turn.heard for p in played])

    for line in lines:
        if line == "...":
            go_on(session, clock, lambda: floor(session))
        else:
            spoken(f"lead: {line}")
    assert search(session).phase == "retest" and search(session).cause == cause
    told = 0
    while told < SPOKEN_TESTS:
        line = helpful._line(session, {})
        if session.plan.step(session.run.at).pack == "reset-after-repair":
            spoken(line)
            told += not session.run.pending
        else:
            list(rehearse.play_text(session, clock, rehearse.read_script(line)))
    go_on(session, clock, lambda: session.run.finished)
    assert session.finding.live.over and search(session).retests == ()
    assert verify(session.store, session.job_id).ok
    assert replayed(session) == (session.run, session.finding)
    entries = list(session.store.entries(session.job_id))
    told = [effect for entry in entries for effect in entry.body.get("guide", ())]
    assert {"kind": "found", "cause": cause} in told
    assert told[-1] == {"kind": "over", "solved": True}
