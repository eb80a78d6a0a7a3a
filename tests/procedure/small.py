"""A short pack with every kind of gate, and the words to walk it, for the tests of the core."""

from __future__ import annotations

from decimal import Decimal

from assistant.procedure import inputs, machine
from assistant.procedure.load import bind, parse_job, parse_pack
from assistant.procedure.model import Plan
from assistant.procedure.run import Run

PACK = """
pack: small
title: A small pack
version: "1.0"
energy: [unknown, isolated, locked, proven-dead, released, energised]
sources:
  habit: {title: Habit of the trade, kind: common-practice}
  nema: {title: NEMA MG 1, edition: "2016"}
"""

STEPS = """
- {id: disconnect, section: isolation, say: Switch off., sets: {energy: isolated},
   expects: {confirmation: disconnect is off}}
- {id: lock, section: isolation, say: "{person}: fit your lock.", needs: {energy: isolated},
   expects: {tag: {}}, proves: lock}
- {id: try-start, section: isolation, say: Try to start., sets: {energy: locked},
   needs: {energy: isolated}, expects: {confirmation: no movement}}
- {id: tester-before, section: isolation, say: Prove the tester., needs: {energy: locked},
   expects: {reading: {name: tester-before, unit: volt, plausible: [0, 700]}},
   limits: {at_least: 50}, source: {ref: habit}, proves: tester-before}
- {id: dead, section: isolation, say: "Measure {item}.", for_each: pair, needs: {energy: locked},
   expects: {reading: {name: dead, unit: volt, plausible: [0, 700]}},
   limits: {at_most: 5, safety: true}, source: {ref: habit}, proves: dead}
- {id: wait, section: isolation, say: Wait., when: {job: stored_energy.present, is: true},
   needs: {energy: locked}, expects: {wait: stored-energy}, proves: stored-wait}
- {id: bus, section: isolation, say: Measure the bus., needs: {energy: locked},
   when: {job: stored_energy.present, is: true},
   expects: {reading: {name: bus, unit: volt, plausible: [0, 1000]}},
   limits: {at_most: 50, safety: true}, source: {ref: habit}, proves: stored}
- {id: tester-after, section: isolation, say: Prove the tester again., needs: {energy: locked},
   expects: {reading: {name: tester-after, unit: volt, plausible: [0, 700]}},
   limits: {at_least: 50}, source: {ref: habit}, proves: tester-after}
- {id: prove-dead, section: isolation, say: Give the phrase., sets: {energy: proven-dead},
   needs: {energy: locked}, expects: {challenge: lockout-confirmed}}
- {id: wires, section: wiring, say: Fit the wires., needs: {energy: proven-dead},
   expects: {confirmation: done}}
- {id: earth, section: wiring, say: Measure the earth., needs: {energy: proven-dead},
   expects: {reading: {name: earth, unit: ohm, plausible: [0, 100]}},
   limits: {at_most: 0.1, outside: stop, safety: true}, source: {ref: habit}}
- {id: insulation, section: wiring, say: Measure insulation., needs: {energy: proven-dead},
   expects: {reading: {name: insulation, unit: megohm, plausible: [0, 2000]}},
   limits: {at_least: 1, outside: stop}, source: {ref: habit}}
- {id: dry-out, section: wiring, say: Dry it., needs: {energy: proven-dead},
   when: {reading: insulation, below: 5},
   expects: {choice: {dried: insulation, later: next}}}
- {id: guard, section: closing, say: Refit the guard., needs: {energy: proven-dead},
   expects: {confirmation: guard is on}}
- {id: lock-off, section: closing, say: "{person}: take your lock off.",
   needs: {energy: proven-dead}, expects: {tag: {}}, proves: lock-off}
- {id: warn, section: closing, say: Warn everybody., expects: {confirmation: done}}
- {id: clear, section: closing, say: Give the phrase., sets: {energy: released},
   expects: {challenge: clear-to-energise}}
- {id: power, section: closing, say: Switch on., sets: {energy: energised},
   needs: {energy: released}, expects: {confirmation: power is on}}
- {id: supply, section: live, say: "Measure {item}.", for_each: line-pair,
   needs: {energy: energised},
   expects: {reading: {name: supply, unit: volt, plausible: [0, 700]}},
   limits: {calc: supply-tolerance, with: {nominal: job.supply.nominal}, outside: note},
   source: {ref: habit}}
- {id: unbalance, section: live, say: Unbalance., needs: {energy: energised},
   when: {job: supply.system, is: three-phase},
   expects: {derived: {name: unbalance, calc: voltage-unbalance, unit: percent,
             with: {volts: reading.supply.*}}},
   limits: {at_most: 1}, source: {ref: nema}}
"""

JOB = """
job: test-door
site: Pinewharf Cold Store
door: D1
door_type: high-speed-roll-up
supply: {system: three-phase, nominal: 480 V}
stored_energy: {present: true, wait: 5 min}
"""


def plan(job: str = JOB, steps: str = STEPS, pack: str = PACK) -> Plan:
    """The small pack bound to a job."""
    return bind(parse_pack({"pack.yaml": pack, "steps.yaml": steps}, "small"), parse_job(job))


class Walk:
    """A run that is walked by hand: each call is one event, a second apart unless told."""

    def __init__(self, bound: Plan | None = None):
        self.plan = bound or plan()
        self.run: Run = machine.start(self.plan)
        self.at_s = 0.0
        self.events: list[inputs.Event] = []
        self.effects: tuple = ()
        self.put(inputs.Started())

    def put(self, what, who="lead", after_s=1.0, via="voice"):
        """One event; returns the effects' kinds."""
        self.at_s += after_s
        event = inputs.Event(input=what, at_s=self.at_s, who=who, via=via)
        self.events.append(event)
        out = machine.advance(self.plan, self.run, event)
        self.run, self.effects = out.run, out.effects
        return [effect.kind for effect in out.effects]

    def confirm(self, word):
        self.put(inputs.Confirm(word=word))
        if self.run.pending:
            self.put(inputs.Affirm())

    def value(self, number, unit=None):
        self.put(inputs.Reading(value=Decimal(str(number)), unit=unit))
        self.put(inputs.Affirm())

    def tag(self, digits):
        self.put(inputs.Tag(digits=digits))
        self.put(inputs.Affirm())

    def command(self, name, **more):
        return self.put(inputs.Command(name=name), **more)

    def challenge(self, phrase, digits="47"):
        self.put(inputs.ChallengeIssued(digits=digits), who="system")
        self.put(inputs.Challenge(phrase=phrase, digits=digits))
        self.put(inputs.Affirm())

    def refused(self):
        """Codes of the last refusal, () if there was none."""
        found = [e.missing for e in self.effects if e.kind == "refused"]
        return found[-1] if found else ()

    def to_locked(self):
        self.confirm("disconnect is off")
        for place, _ in enumerate(self.run.ledger.people):
            self.tag(f"1{place}")
        self.confirm("no movement")

    def to_pairs_dead(self):
        self.to_locked()
        self.value(230)
        for _ in self.run.ledger.pairs:
            self.value(0)

    def to_bus(self):
        self.to_pairs_dead()
        self.put(inputs.Tick(), after_s=301)

    def to_gate(self):
        self.to_pairs_dead()
        if self.run.ledger.stored:
            self.put(inputs.Tick(), after_s=301)
            self.value(12)
        self.value(231)

    def to_dead(self):
        self.to_gate()
        self.challenge("lockout-confirmed")

    def to_released(self):
        self.to_dead()
        self.confirm("done")
        self.value("0.05")
        self.value(200)
        self.confirm("guard is on")
        for place, _ in enumerate(self.run.ledger.people):
            self.tag(f"1{place}")
        self.confirm("done")
        self.challenge("clear-to-energise", "52")

    def to_energised(self):
        self.to_released()
        self.put(inputs.PowerOn())
        self.put(inputs.Affirm())
