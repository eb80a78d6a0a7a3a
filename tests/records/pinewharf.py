"""A job of Pinewharf Cold Store, the fictional site of all examples, with a few entries."""

from __future__ import annotations

from typing import Any

from assistant.clock import SetClock
from assistant.records.store import Store

JOB = "pinewharf-d1"
HEAD = {
    "title": "Pinewharf Cold Store, D1",
    "job": {
        "job": JOB,
        "site": "Pinewharf Cold Store",
        "instruments": [{"id": "MM-1", "kind": "multimeter", "calibration_due": "2026-03-01"}],
    },
}


def turn(kind: str = "affirm", *effects: dict[str, Any], heard: str = "affirm") -> dict[str, Any]:
    """A body as the job writes it for one utterance."""
    return {
        "event": {
            "input": {"kind": kind},
            "at_s": 1.0,
            "who": "lead",
            "device": "phone-1",
            "via": "voice",
            "heard": heard,
            "confidence": 0.93,
        },
        "effects": list(effects),
        "energy": "proven-dead",
    }


def judged(name: str, value: str | None, **more: Any) -> dict[str, Any]:
    """The effect of a taken reading."""
    effect = {
        "kind": "judged",
        "step": f"measure-{name}",
        "name": name,
        "value": value,
        "unit": "volt",
        "special": "",
        "said": "zero decimal two volts",
        "si_value": 0.2,
        "si_unit": "V",
        "bounds": {
            "at_least": None,
            "at_most": "3.0",
            "unit": "volt",
            "source": "dead limit",
            "safety": True,
        },
        "verdict": "pass",
        "derived": False,
        "corrects": False,
        "instrument": "MM-1",
    }
    return effect | more


def fill(store: Store, clock: SetClock) -> None:
    """Write a job of eight entries."""
    store.create_job(JOB, HEAD, clock.wall())
    bodies = [
        turn("started", heard=""),
        turn("affirm", judged("dead.l1-l2", "0.2")),
        turn("affirm", judged("dead.l2-l3", "0.10")),
        turn("affirm", judged("dead.l2-l3", "0.30", corrects=True)),
        turn("note", {"kind": "noted", "text": "cable gland loose, M20, 4 Ω"}, heard="note"),
        turn("command"),
        turn("affirm", judged("insulation", None, special="over-range", unit="megohm")),
    ]
    for body in bodies:
        clock.pass_s(2.5)
        store.append(JOB, body, wall=clock.wall(), mono_s=clock.mono_s())
