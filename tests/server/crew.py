"""Two people with two voices, each at a device of their own, who do what they are asked.

A person answers the question that is open, listens to the read-back, says it again, or in other
words, where it wasn't understood, and NEGATIVE where something else was read back. What is said
goes by step id, never by place, so a pack may grow in between.
"""

from __future__ import annotations

import itertools
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from assistant import rehearse
from assistant.clock import SetClock
from assistant.dialogue.interpret import interpret_text
from assistant.job import JobSession, Turn
from assistant.procedure import gates, inputs
from assistant.procedure.model import Step
from tests.speech.voices import say

FRAME_BYTES = 1280  # 40 ms
VOICES = {"lead": "joe", "helper": "rms"}
SNR_DB = 25  # at a headset's microphone, beside a running machine
PATIENCE_S = 20.0  # for an answer on a busy machine
TRIES = 8
AFFIRM = "affirm | that is correct"


@dataclass(frozen=True)
class Said:
    """One thing a person wanted to say, and how often it had to be said."""

    step: str
    who: str
    words: str
    tries: int


class Crew:
    """Lead and helper with the job they work on. `said` counts what was understood when."""

    def __init__(self, device: Callable[..., Any], session: JobSession, clock: SetClock):
        self.session, self.clock, self.device = session, clock, device
        self.said: list[Said] = []
        self.turns: list[Turn] = []
        self._came = threading.Condition()
        self._seeds = itertools.count()
        self.clients: dict[str, Any] = {}
        session.subscribe(self._note)
        for role in VOICES:
            self.join(role)

    def _note(self, turn: Turn) -> None:
        with self._came:
            self.turns.append(turn)
            self._came.notify_all()

    # --- devices -------------------------------------------------------------------------------

    def join(self, role: str) -> None:
        client = self.device(f"phone-{role}", role=role, headset=True, job=self.session.job_id)
        client.connect()
        threading.Thread(target=_drain, args=(client.socket,), daemon=True).start()
        self.clients[role] = client
        self.until(lambda: role in self.session.run.devices)

    def drop(self, role: str) -> None:
        wire, self.clients[role].socket = self.clients[role].socket, None
        wire.sock.shutdown(socket.SHUT_RDWR)  # closing alone waits for the reader
        self.until(lambda: role in self.session.run.lost)

    @staticmethod
    def until(true: Callable[[], bool]) -> None:
        ends = time.monotonic() + PATIENCE_S
        while not true() and time.monotonic() < ends:
            time.sleep(0.02)
        assert true()

    # --- one utterance ---------------------------------------------------------------------------

    def hear(self, who: str, words: str) -> Turn:
        """The words as sound through the person's own socket, and what came of them."""
        sound = rehearse.add_noise(say(words, VOICES[who]), SNR_DB, seed=next(self._seeds))
        self.clock.pass_s(rehearse.TURN_S)
        with self._came:
            first = len(self.turns)
        self._stream(who, sound)
        # A device goes on streaming the room; by that silence the ear finds the end.
        quiet = np.random.default_rng(1).integers(-12, 12, FRAME_BYTES // 2).astype(np.int16)
        ends = time.monotonic() + PATIENCE_S
        own: list[Turn] = []
        while time.monotonic() < ends:
            self._stream(who, quiet)
            with self._came:
                self._came.wait(0.02)
                found = [t for t in self.turns[first:] if t.device == f"phone-{who}"]
            if len(found) > len(own):  # a line that was cut in two gives two turns
                own, ends = found, time.monotonic() + 0.2
        taken = [t for t in own if t.input and t.input.kind != "not-understood"]
        silence = Turn(0, f"phone-{who}", who, "", "", (), "not-understood")
        return (taken or own or [silence])[-1]

    def _stream(self, who: str, samples: np.ndarray) -> None:
        data = samples.astype("<i2").tobytes()
        for at in range(0, len(data) - FRAME_BYTES + 1, FRAME_BYTES):
            self.clients[who].raw(data[at : at + FRAME_BYTES])
            time.sleep(0.003)

    def tell(self, who: str, words: str) -> Turn:
        """Say it until it is understood as it was meant."""
        step = self.session.run.at or ""
        wordings = [each.strip() for each in words.split("|")]
        for tries in range(1, TRIES + 1):  # each wording twice, then the next, then the first anew
            wording = wordings[(tries - 1) // 2 % len(wordings)]
            text = rehearse.fill(wording, self.session)
            wanted = interpret_text(text, self.session.plan, self.session.run)
            turn = self.hear(who, text)
            right = rehearse.same_input(wanted, turn.input)
            again = f" (time {tries})" if tries > 1 else ""
            print(f"{step}: {who} says '{text}'{again}, heard '{turn.heard}': {turn.understood}")
            if right:
                self.said.append(Said(step, who, words, tries))
                return turn
            if self.session.run.pending and not isinstance(wanted, inputs.Affirm):
                self._take_back(who)
            elif self.session.run.at != step:
                break  # something else was taken: what is asked now goes on from there
        self.said.append(Said(step, who, words, TRIES + 1))
        assert self.session.run.at != step, f"'{words}' was not understood at {step}"
        return turn

    def _take_back(self, who: str) -> None:
        """Something else was read back."""
        words = rehearse.Line(0, who, "negative | wrong | no")
        for tries in range(1, TRIES + 1):
            if not self.session.run.pending:
                return
            self.hear(who, words.wording(tries))

    # --- the work --------------------------------------------------------------------------------

    def work(
        self,
        answers: Mapping[str, str | list[str]],
        first: Mapping[str, str],
        until: str | None = None,
    ) -> None:
        """Do what is asked, up to the step `until`.

        answers: step id, or id of the repeated step, to the words, with other wordings behind a
        bar; a list is said one after the other, a new one each time the step is asked. first:
        what the lead says at a step before the answer, and what is refused.
        """
        left = {key: list(each) for key, each in answers.items() if isinstance(each, list)}
        early = dict(first)
        asked: dict[str, int] = {}
        while (at := self.session.run.at) and at != until:
            step = self.session.plan.step(at)
            asked[at] = asked.get(at, 0) + 1
            assert asked[at] <= TRIES, f"no way on at {at}"
            if at in early:
                self.tell("lead", early.pop(at))
                continue
            if step.mark and not self.session.run.marked:
                self._call_clear()
            if step.expects.wait:
                self.clock.pass_s(301)
                self.session.tick()
                continue
            who = self._who(step)
            if not self.session.run.pending:
                self.tell(who, self._words(step, answers, left))
            if self.session.run.pending:
                self.tell(who, AFFIRM)

    def _who(self, step: Step) -> str:
        """The helper stands at the door and sees it first."""
        if step.proves == "lock-off":
            return self.session.run.ledger.next_with_lock() or "lead"
        roles = gates.addressed(self.session.run, step)
        return "helper" if "helper" in roles and (step.mark or len(roles) < 2) else roles[0]

    def _words(
        self, step: Step, answers: Mapping[str, str | list[str]], left: dict[str, list[str]]
    ) -> str:
        expects = step.expects
        key = step.id if step.id in answers else step.base
        if expects.tag:
            return answers[f"tag {self._who(step)}"]  # type: ignore[return-value]
        if key in left:
            return left[key].pop(0)
        if key in answers:
            return answers[key]  # type: ignore[return-value]
        if expects.choice:
            return next(iter(expects.choice))  # the one that passes stands first
        if expects.challenge:
            return expects.challenge.replace("-", " ") + " {challenge}"
        assert expects.confirmation, f"nothing to say at {step.id}"
        return expects.confirmation

    def _call_clear(self) -> None:
        """Both call at once, over each other; whoever wasn't understood calls again."""
        step = self.session.run.at
        threads = [threading.Thread(target=self.hear, args=(r, "all clear")) for r in VOICES]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        for role in VOICES:
            tries = 1
            while role not in self.session.run.clear and self.session.run.at == step:
                tries += 1
                assert tries <= TRIES, f"{role}'s clear call was not understood at {step}"
                self.hear(role, "all clear")
            self.said.append(Said(step or "", role, "all clear", tries))
        assert self.session.run.marked

    def share_first(self) -> float:
        """Share of what was said that was understood the first time."""
        return sum(each.tries == 1 for each in self.said) / len(self.said)


def _drain(wire: Any) -> None:
    with suppress(Exception):
        while wire.recv():
            pass
