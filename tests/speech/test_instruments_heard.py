"""The name of an instrument is heard in several voices, and a value is never taken for one.

While this was written four voices said "use meter one" and "use meter two": 8 of 8 were right; of
"meter one" alone 2 of 4 were asked about, because "one" is a value as well.
"""

from __future__ import annotations

import pytest

from assistant.clock import SetClock
from assistant.dialogue.grammar import expected
from assistant.dialogue.interpret import interpret
from assistant.job import JobSession
from assistant.plans import plan_of
from assistant.procedure import inputs
from assistant.records.store import Store
from tests.procedure.small import JOB, PACK, STEPS
from tests.procedure.test_instruments import METERS
from tests.procedure.test_instruments import say as typed
from tests.speech.voices import say


@pytest.fixture
def session(store: Store) -> JobSession:
    """The small job with three instruments, at a step that takes a value in volts."""
    texts = {"pack.yaml": PACK, "steps.yaml": STEPS, "job.yaml": JOB + METERS}
    found = JobSession.start("j1", plan_of(texts), texts, store, clock=SetClock())
    typed(found, "disconnect is off", "affirm", "tag one two", "affirm", "no movement", "affirm")
    return found


@pytest.mark.parametrize("voice", ["joe", "slt", "rms", "en-us"])
@pytest.mark.parametrize(
    ("line", "meant"), [("use meter one", "M-1"), ("use meter two", "M-2"), ("meter two", "M-2")]
)
def test_an_instrument_is_heard_by_its_name(whisper, session, line, meant, voice):
    heard = whisper.hear(say(line, voice), expected(session.plan, session.run))
    what = interpret(heard, session.plan, session.run)
    assert isinstance(what, inputs.UseInstrument) and what.id == meant


@pytest.mark.parametrize("voice", ["joe", "slt"])
@pytest.mark.parametrize("line", ["two volts", "two three zero volts", "the meter is too far away"])
def test_a_value_or_talk_changes_no_instrument(whisper, session, line, voice):
    heard = whisper.hear(say(line, voice), expected(session.plan, session.run))
    what = interpret(heard, session.plan, session.run)
    assert not isinstance(what, inputs.UseInstrument)
