"""Three faults by voice: from the first word to repaired, tested again and recorded."""

from __future__ import annotations

import itertools
from collections import Counter

import pytest

from assistant import rehearse
from assistant.records.log import verify
from tests.faults.test_live import floor, new, replayed, search
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
SAID_AGAIN = 2  # how often a person says once more what was refused, before they touch a button
MAY_REFUSE = 0.15  # share of the turns that may need the button; none to the guide does
TYPED_FROM = 2  # words of the job's steps that were spoken as often are typed from then on


@pytest.fixture(scope="module")
def ear():
    from assistant.speech import engines

    return engines.load("whisper")


def read_back(session):
    """True while something waits for AFFIRM: it was heard, and nothing was taken."""
    live = session.finding.live
    return bool(session.run.pending or (live and live.pending))


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_a_fault_by_voice_is_found_repaired_tested_again_and_recorded(case, ear, tmp_path):
    """Two natural voices, 20 dB over noise, through endpointer and recogniser.

    Every word to the guide is spoken, and each sentence of the steps, gates included, the first
    times that it comes. What is refused is said again; one taken for something else fails the case.
    """
    job, cause, lines = CASES[case]
    session, clock = new(tmp_path, job, ear)
    seeds = itertools.count()
    spoken_words, counts = Counter(), Counter()

    def sound(words, who):
        speech = say(words, {"lead": "joe", "helper": "rms"}[who])
        return rehearse.add_noise(speech, 20, seed=next(seeds))

    def spoken(line, to_guide=False):
        for played in rehearse.play_spoken(session, clock, rehearse.read_script(line), sound):
            heard, got = played.turn.heard, played.turn.input
            refused = got is None or got.kind == "not-understood"
            assert played.right or refused or read_back(session), (played.said, heard, got)
            counts["said"] += 1
            if played.right or played.tries > SAID_AGAIN:
                break
        if not played.right:
            assert not to_guide, (line, played.turn.heard)
            counts["touched"] += 1
            if read_back(session):
                session.say(played.line.who, "negative", via="touch")
            list(rehearse.play_text(session, clock, rehearse.read_script(line)))

    def on(until):
        for _ in range(600):
            if until():
                return
            line = helpful._line(session, {})
            if line.startswith("wait") or spoken_words[line] >= TYPED_FROM:
                counts["typed"] += not line.startswith("wait")
                list(rehearse.play_text(session, clock, rehearse.read_script(line)))
            else:
                spoken_words[line] += 1
                spoken(line)
        raise AssertionError(f"stuck at {session.run.at}")

    for line in lines:
        if line == "...":
            on(lambda: floor(session))
        else:
            spoken(f"lead: {line}", to_guide=True)
    assert search(session).phase == "retest" and search(session).cause == cause
    on(lambda: session.run.finished)
    turns = len(lines) - lines.count("...") + spoken_words.total()
    assert turns >= 60 and counts["touched"] <= turns * MAY_REFUSE
    assert session.finding.live.over and search(session).retests == ()
    assert verify(session.store, session.job_id).ok
    assert replayed(session) == (session.run, session.finding)
    entries = list(session.store.entries(session.job_id))
    told = [effect for entry in entries for effect in entry.body.get("guide", ())]
    assert {"kind": "found", "cause": cause} in told
    assert told[-1] == {"kind": "over", "solved": True}
