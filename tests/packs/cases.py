"""Dialogues as text and how they come out: reads `steps/<pack>/cases/*.yaml` and plays them.

A case is a mapping: `job` (a name in steps/jobs), optional `about`, optional `taken` (readings of
earlier packs of the job, as passed: `{door-width: 3 m}`), and `turns`, a list of

    {lead: "disconnect is off"}      somebody speaks; also `helper:`; `touch:` is the lead's screen
    {lead: done, times: 5}           the same five times
    {both: all clear}                the lead says it, then the helper
    {device: helper, joined: true}   a device of that role comes, or with false drops
    {wait: "6 min"}                  time passes
    {system: restarted}              the program starts again
    {expect: {at: lock, ...}}        where the job stands now

`{challenge}` in a line stands for the digits just spoken, `{wrong}` for others. What `expect`
knows is the list in `CHECKS`; it looks at the run, and for what happened at the last turn alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from assistant.dialogue.interpret import interpret_text
from assistant.plans import plan_from_files
from assistant.procedure import effects as fx
from assistant.procedure import inputs, machine
from assistant.procedure.load import load_job
from assistant.procedure.model import Plan
from assistant.procedure.run import Pending, Run, TakenReading
from assistant.quantity import quantity

STEPS = Path(__file__).parents[2] / "steps"
TURN_S = 4.0
SPEAKERS = {"lead": "voice", "helper": "voice", "touch": "touch"}


@cache
def plan_of_case(pack: str, job: str) -> Plan:
    return plan_from_files([pack], load_job(STEPS / "jobs" / f"{job}.yaml"))


@dataclass
class Played:
    """A dialogue under way. `issued` counts the challenges, which follow a fixed row."""

    plan: Plan
    run: Run
    at_s: float = 0.0
    issued: int = 0
    effects: list[fx.Effect] = field(default_factory=list)

    @classmethod
    def start(cls, pack: str, job: str, taken: Mapping[str, Any] | None = None) -> Played:
        """The pack's plan from its first step; `taken`: readings of earlier packs, passed."""
        plan = plan_of_case(pack, job)
        had = {
            name: TakenReading("earlier", quantity(str(value)), "", "pass", None, False, 0)
            for name, value in (taken or {}).items()
        }
        played = cls(plan, replace(machine.start(plan), readings=had))
        played.put(inputs.Started(), "system")
        return played

    def put(self, what: inputs.Input, who: str, via: str = "system") -> None:
        """One event, and a fresh challenge wherever one is needed."""
        event = inputs.Event(input=what, at_s=self.at_s, who=who, via=via)
        out = machine.advance(self.plan, self.run, event)
        self.run = out.run
        self.effects += out.effects
        if any(isinstance(each, fx.ChallengeNeeded) for each in out.effects):
            self.issued += 1
            self.put(
                inputs.ChallengeIssued(digits=f"{(47 + 18 * self.issued) % 90 + 10}"), "system"
            )

    def turn(self, turn: dict[str, Any]) -> None:
        """Play one line of a case."""
        turn = dict(turn)
        joined = turn.pop("joined", None)
        for _ in range(turn.pop("times", 1)):
            ((kind, what),) = turn.items()
            if kind == "both":
                self.turn({"lead": what})
                before = self.effects
                self.turn({"helper": what})
                self.effects = before + self.effects
                continue
            if kind == "expect":
                self.check(what)
                continue
            self.effects = []
            self.at_s += TURN_S
            if kind == "wait":
                self.at_s += float(quantity(what).to("second").value)
                self.put(inputs.Tick(), "system")
            elif kind == "device":
                change = inputs.DeviceJoined if joined else inputs.DeviceLost
                self.put(change(role=what), "system")
            elif kind == "system":
                assert what == "restarted", f"unknown event {what}"
                self.put(inputs.Restarted(), "system")
            else:
                via = SPEAKERS[kind]
                heard = interpret_text(self.fill(str(what)), self.plan, self.run)
                self.put(heard, "helper" if kind == "helper" else "lead", via)

    def fill(self, text: str) -> str:
        digits = self.run.challenge.digits if self.run.challenge else "00"
        wrong = "".join(str((int(digit) + 3) % 10) for digit in digits)
        return text.replace("{challenge}", digits).replace("{wrong}", wrong)

    def check(self, wanted: dict[str, Any]) -> None:
        for name, value in wanted.items():
            found = CHECKS[name](self)
            where = f"{name} at step {self.run.at}, energy {self.run.ledger.state}"
            assert found == value, f"{where}: found {found!r}, wanted {value!r}\n{self.effects}"

    def last(self, kind: type, attribute: str) -> Any:
        """An attribute of the last effect of a kind at this turn, or None."""
        found = [getattr(each, attribute) for each in self.effects if isinstance(each, kind)]
        return found[-1] if found else None


def _pending(pending: Pending | None) -> str | None:
    if pending is None:
        return None
    if pending.quantity:
        return pending.quantity.written()
    return pending.special or pending.tag or pending.digits or pending.word


def _refused(played: Played) -> list[str]:
    return list(played.last(fx.Refused, "missing") or ())


CHECKS = {
    "at": lambda p: p.run.at,
    "energy": lambda p: p.run.ledger.state,
    "pending": lambda p: _pending(p.run.pending),
    "open_points": lambda p: len(p.run.open_points),
    "open_at": lambda p: [item.step for item in p.run.open_points],
    "finished": lambda p: p.run.finished,
    "held": lambda p: p.run.held,
    "failing": lambda p: p.run.failing,
    "locks": lambda p: len(p.run.ledger.locks),
    # of the last turn
    "refused": _refused,
    "offer": lambda p: p.last(fx.Refused, "offer"),
    "verdict": lambda p: p.last(fx.Judged, "verdict"),
    "corrects": lambda p: p.last(fx.Judged, "corrects"),
    "voided": lambda p: p.last(fx.Voided, "cause"),
    "implausible": lambda p: p.last(fx.Implausible, "unit") is not None,
    "wrong_unit": lambda p: p.last(fx.WrongUnit, "said"),
    "asked_again": lambda p: p.last(fx.AskAgain, "why"),
    "marked": lambda p: p.last(fx.Marked, "step") is not None,
    "device": lambda p: p.last(fx.DeviceNotice, "role"),
    "waiting": lambda p: p.last(fx.Waiting, "left_s") is not None,
}
