"""A small plan made by hand, one step of each kind, and runs that stand at a step of it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from assistant.procedure.energy import Ledger
from assistant.procedure.model import Job, Pack, PackSource, Plan, Step
from assistant.procedure.run import IssuedChallenge, Pending, Run
from assistant.quantity import Quantity

SOURCE = {"ref": "rules", "section": "4.3"}


def _steps() -> tuple[Step, ...]:
    rows = [
        dict(
            id="survey",
            section="survey",
            say="Look the panel over. Say done.",
            brief="Survey.",
            expects={"confirmation": "done"},
            reason="Damage is found before power.",
            source=SOURCE,
        ),
        dict(
            id="switch-off",
            section="isolation",
            say="Switch the disconnect off. Say switched off.",
            brief="Switch off.",
            caution={"word": "DANGER", "text": "Lethal voltage inside."},
            expects={"confirmation": "switched off"},
            sets={"energy": "isolated"},
        ),
        dict(
            id="lock",
            section="isolation",
            say="{person}, fit your own lock. Say its tag.",
            brief="{person}, your tag.",
            expects={"tag": {}},
            needs={"energy": "isolated"},
            proves="lock",
        ),
        dict(
            id="dead.l1-l2",
            section="isolation",
            say="Measure L1 to L2.",
            expects={"reading": {"name": "dead.l1-l2", "unit": "volt", "plausible": [0, 700]}},
            limits={"at_most": 2, "safety": True},
            proves="dead",
            source=SOURCE,
            needs={"energy": "locked"},
        ),
        dict(
            id="stored",
            section="isolation",
            say="Wait for the stored energy.",
            expects={"wait": "stored-energy"},
            proves="stored-wait",
        ),
        dict(
            id="prove",
            section="isolation",
            say="The panel is ready to be proven.",
            expects={"challenge": "lockout-confirmed"},
            sets={"energy": "proven-dead"},
        ),
        dict(
            id="insulation",
            section="motor",
            say="Measure insulation resistance. Say the value.",
            brief="Insulation.",
            expects={"reading": {"name": "insulation", "unit": "megohm", "plausible": [0, 2000]}},
            limits={"at_least": 1, "outside": "stop"},
            source=SOURCE,
        ),
        dict(
            id="supply",
            section="mains",
            say="Measure the supply. Say the value.",
            expects={"reading": {"name": "supply", "unit": "volt", "plausible": [0, 700]}},
        ),
        dict(
            id="edge",
            section="mains",
            say="Press close and watch.",
            who="both",
            helper="Hold the test piece under the edge.",
            mark="close the door",
            expects={"choice": {"reversed": "next", "went on": "next"}},
        ),
        dict(
            id="unbalance",
            section="mains",
            say="Unbalance.",
            expects={
                "derived": {
                    "name": "unbalance",
                    "calc": "unbalance",
                    "unit": "percent",
                    "with": {},
                }
            },
            limits={"at_most": 2},
            source=SOURCE,
        ),
        dict(
            id="beam",
            section="safety devices",
            say="Hold the test piece in beam 1.",
            who="helper",
            expects={"choice": {"Beam-1 blocked": "next", "no change": "end"}},
        ),
        dict(
            id="lock-off",
            section="release",
            say="{person}, take your lock off. Say its tag.",
            expects={"tag": {}},
            proves="lock-off",
        ),
        dict(
            id="clear",
            section="release",
            say="Everyone clear.",
            expects={"challenge": "clear-to-energise"},
            sets={"energy": "released"},
        ),
        dict(
            id="power-up",
            section="release",
            say="Switch on. Say power is on.",
            expects={"confirmation": "power is on"},
            sets={"energy": "energised"},
        ),
    ]
    return tuple(Step.model_validate(row) for row in rows)


@pytest.fixture(scope="session")
def plan() -> Plan:
    steps = _steps()
    pack = Pack(
        name="small",
        title="A small pack",
        version="1.0",
        language="en",
        energy=("isolated", "proven-dead", "released", "energised"),
        sources={"rules": PackSource(title="Site rules (wiring)")},
        steps=steps,
    )
    job = Job(
        job="pinewharf-d1",
        site="Pinewharf Cold Store",
        door="D1",
        door_type="high-speed-roll-up",
        supply={"system": "three-phase", "nominal": "480 V"},
        people=("lead", "helper"),
    )
    return Plan(pack=pack, job=job, steps=steps)


@pytest.fixture(scope="session")
def at(plan):
    """A run that stands at a step."""

    def make(step_id: str | None, **changes) -> Run:
        ledger = Ledger(people=plan.job.people, pairs=("l1-l2",))
        return replace(Run(ledger=ledger, at=step_id), **changes)

    return make


@pytest.fixture(scope="session")
def pending(at):
    """A run with something read back that waits for AFFIRM."""

    def make(step_id: str) -> Run:
        kinds = {
            "insulation": dict(kind="reading", quantity=Quantity(Decimal("24.1"), "megohm")),
            "supply": dict(kind="reading", quantity=Quantity(Decimal("462"), "volt")),
            "dead.l1-l2": dict(kind="reading", quantity=Quantity(Decimal("0.2"), "volt")),
            "lock": dict(kind="tag", tag="47", person="helper"),
            "lock-off": dict(kind="tag", tag="47", person="helper"),
            "switch-off": dict(kind="confirm", word="switched off"),
            "prove": dict(kind="challenge", word="lockout-confirmed", digits="47"),
            "clear": dict(kind="challenge", word="clear-to-energise", digits="47"),
        }
        waits = Pending(step_id, at_s=1.0, **kinds[step_id])
        challenge = None
        if waits.kind == "challenge":
            challenge = IssuedChallenge(step_id, waits.word, waits.digits, 1.0)
        return at(step_id, pending=waits, challenge=challenge)

    return make
