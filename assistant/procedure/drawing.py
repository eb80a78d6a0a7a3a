"""The ledger's table for people: as Markdown, as a drawing, and beside the published rules.

Nothing is decided here; tests/procedure/test_standards.py follows `duties` line by line.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from assistant.procedure.energy import ANY, RULES, Rule


def table() -> str:
    """The table of moves in Markdown."""
    rows = [
        (rule.move, _from(rule), rule.to or "stays", rule.needs or "–", rule.source)
        for rule in RULES
    ]
    return _markdown(("move", "from", "to", "needs", "rule behind it"), rows)


def _from(rule: Rule) -> str:
    return "any" if rule.from_states == ANY else ", ".join(rule.from_states)


def diagram() -> str:
    """The table as a Mermaid state diagram.

    What is possible from any state is drawn once: `disconnect-off` from unknown, and `void` as
    a note, since six more arrows would hide the way that matters.
    """
    arrows: dict[tuple[str, str], list[str]] = {}
    everywhere = [rule for rule in RULES if rule.from_states == ANY]
    for rule in RULES:
        froms = ("unknown",) if rule in everywhere else rule.from_states
        for state in froms:
            to = rule.to or state
            if rule.move != "void":
                arrows.setdefault((state, to), []).append(rule.move)
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{state}" as {_id(state)}' for state in ANY if "-" in state]
    lines += ["    [*] --> unknown"]
    lines += [
        f"    {_id(start)} --> {_id(end)}: {', '.join(moves)}"
        for (start, end), moves in arrows.items()
    ]
    named = " and ".join(
        f"{rule.move} leads to {rule.to}" for rule in everywhere if rule.to is not None
    )
    lines += ["    note right of unknown", f"        From every state {named}.", "    end note"]
    return "\n".join(lines) + "\n"


def _id(state: str) -> str:
    return state.replace("-", "_")


# --- the published rules -------------------------------------------------------------------------

Tag = Literal["published", "from memory"]


@dataclass(frozen=True)
class Duty:
    """One step of a published rule, and where it is met.

    where: "move NAME" is a row of the ledger's table, "step ID" a step of the pack power-entry,
    "gate NAME" a question of `gates`, "input NAME" an input that takes the proof away. tag:
    "published" if a page that states the step was read (seldom the standard itself).
    """

    rule: str
    step: str
    what: str
    where: tuple[str, ...]
    tag: Tag
    note: str = ""

    @property
    def id(self) -> str:
        """Rule and step in one, as it is cited."""
        return f"{self.rule} {self.step}"


_LOTO, _ELECTRIC = "29 CFR 1910.147", "29 CFR 1910.333"
_NFPA, _EN = "NFPA 70E 120.5", "EN 50110-1"
_NUMBER = "the paragraph's number is from memory"
_LOCKED = ("move lock", "step lock")
_STORED = ("move stored-wait", "move stored", "step stored-wait", "step stored")
_HELD = ("move restrained", "step hazard")
_GROUNDS = ("move grounds-on", "step grounds-on", "move grounds-off", "step grounds-off")
_LIVE_DEAD_LIVE = ("move tester-before", "move dead", "move tester-after")
_FORGOTTEN = "gate unsettled_before"

_DUTIES = (
    Duty(
        *(_LOTO, "(d)(1)", "Prepare: know each energy, its size and the means to control it"),
        ("step sources", _FORGOTTEN),
        "published",
    ),
    Duty(
        *(_LOTO, "(d)(2)", "Shut down in an orderly way"),
        ("step door-at-rest", "step gate-at-rest", _FORGOTTEN),
        "published",
    ),
    Duty(
        *(_LOTO, "(d)(3)", "Operate every energy-isolating device"),
        ("move disconnect-off", "step source-off", "step disconnect-off"),
        "published",
    ),
    Duty(*(_LOTO, "(d)(4)", "Fix lock and tag to each device"), _LOCKED, "published"),
    Duty(
        *(_LOTO, "(d)(5)", "Relieve or restrain stored energy; verify on if it can come back"),
        (*_STORED, *_HELD, "move void"),
        "published",
    ),
    Duty(
        *(_LOTO, "(d)(6)", "Verify isolation before work starts"),
        ("move try-start", *_LIVE_DEAD_LIVE, "move lockout-confirmed", "gate may_enter"),
        "published",
    ),
    Duty(
        *(_LOTO, "(e)(1)", "Inspect: tools out, guards back on"),
        ("step guard-on", "step tools-out", "step cover-closed", _FORGOTTEN),
        "from memory",
    ),
    Duty(
        *(_LOTO, "(e)(2)", "Everybody clear and told before power"),
        ("step people-clear", "step warn", "move clear-to-energise"),
        "from memory",
    ),
    Duty(
        *(_LOTO, "(e)(3)", "Each lock is taken off by whoever put it on"),
        ("move work-over", "move lock-off", "step lock-off"),
        "published",
    ),
    Duty(
        *(_LOTO, "(f)(3)(i)", "A group is protected as by a lock of each person's own"),
        ("move lock", "input person-joined"),
        "published",
    ),
    Duty(
        *(_LOTO, "(f)(3)(ii)(A)", "One person has primary responsibility"),
        ("move lockout-confirmed", "move clear-to-energise"),
        "published",
        "the lead alone gives the gates' phrases",
    ),
    Duty(
        *(_LOTO, "(f)(3)(ii)(B)", "That person can find out who is exposed"),
        ("move lock",),
        "published",
        "the view shows each person and tag; a refusal names whose lock is missing or on",
    ),
    Duty(
        *(_LOTO, "(f)(3)(ii)(C)", "One coordinator for several crews"),
        ("input crew-changed", "move clear-to-energise"),
        "published",
        "a job has one lead; a new crew proves everything anew",
    ),
    Duty(
        *(_LOTO, "(f)(3)(ii)(D)", "Each puts on and takes off a lock of their own"),
        (*_LOCKED, "move lock-off"),
        "published",
    ),
    Duty(
        *(_LOTO, "(f)(4)", "No gap in protection at a change of person"),
        ("input crew-changed", "move void"),
        "published",
    ),
    Duty(
        *(_ELECTRIC, "(b)(2)(ii)(A)", "Work out the safe procedure first"),
        ("step sources", _FORGOTTEN),
        "published",
        _NUMBER,
    ),
    Duty(
        *(_ELECTRIC, "(b)(2)(ii)(B)", "Disconnect from all sources; buttons never suffice"),
        ("step source-off", "move disconnect-off", "gate may_enter"),
        "published",
        _NUMBER,
    ),
    Duty(*(_ELECTRIC, "(b)(2)(ii)(C)", "Release stored electric energy"), _STORED, "published"),
    Duty(*(_ELECTRIC, "(b)(2)(ii)(D)", "Block or relieve other stored energy"), _HELD, "published"),
    Duty(
        *(_ELECTRIC, "(b)(2)(iii)", "A lock and a tag on each disconnecting means"),
        _LOCKED,
        "from memory",
    ),
    Duty(
        *(_ELECTRIC, "(b)(2)(iv)(A)", "Operate the controls: it can't start"),
        ("move try-start", "step try-start"),
        "published",
        _NUMBER,
    ),
    Duty(
        *(_ELECTRIC, "(b)(2)(iv)(B)", "Test every part, induced and back-fed voltage included"),
        (*_LIVE_DEAD_LIVE, "step tester-before", "step dead", "step tester-after"),
        "published",
        f"{_NUMBER}; the tester is proved at any voltage, not only above 600 V",
    ),
    Duty(
        *(_ELECTRIC, "(b)(2)(v)", "Power again: inspected, warned, locks off by owners, all clear"),
        ("step guard-on", "step warn", "move lock-off", "move clear-to-energise", "move power-on"),
        "from memory",
    ),
    Duty(*(_NFPA, "1", "Find all possible sources"), ("step sources", _FORGOTTEN), "published"),
    Duty(
        *(_NFPA, "2", "Interrupt the load, then open the device of each source"),
        ("step door-at-rest", "step source-off", "move disconnect-off"),
        "published",
    ),
    Duty(
        *(_NFPA, "3", "See that the blades are open"),
        ("step disconnect-off", "move disconnect-off"),
        "published",
    ),
    Duty(*(_NFPA, "4", "Release stored electric energy"), _STORED, "from memory"),
    Duty(*(_NFPA, "5", "Block or relieve stored mechanical energy"), _HELD, "from memory"),
    Duty(*(_NFPA, "6", "Apply lock and tag"), _LOCKED, "from memory"),
    Duty(
        *(_NFPA, "7", "Test phase to phase and phase to ground, tester proved before and after"),
        _LIVE_DEAD_LIVE,
        "published",
    ),
    Duty(
        *(_NFPA, "8", "Ground temporarily where voltage may be induced or stored"),
        (*_GROUNDS, "move dead"),
        "from memory",
        "where the job expects it or a few volts were left; a voltage left keeps the gate shut",
    ),
    Duty(
        *(_EN, "1", "Disconnect completely"),
        ("step source-off", "move disconnect-off"),
        "published",
    ),
    Duty(*(_EN, "2", "Secure against reconnection"), (*_LOCKED, "move try-start"), "published"),
    Duty(*(_EN, "3", "Verify that it is dead, tester checked"), _LIVE_DEAD_LIVE, "published"),
    Duty(
        *(_EN, "4", "Earth and short-circuit"),
        (*_GROUNDS, "move dead"),
        "published",
        "below 1000 V often only where needed (from memory); a voltage left keeps the gate shut",
    ),
    Duty(
        *(_EN, "5", "Protect against adjacent live parts"),
        ("step sources", "move dead"),
        "published",
        "points of second sources are measured like pairs; what can't be dead stops the work",
    ),
)


def duties() -> tuple[Duty, ...]:
    """Every step of the rules that the ledger follows, and where each is met."""
    return _DUTIES


def duties_table() -> str:
    """The duties in Markdown."""
    rows = [
        (duty.id, duty.what, ", ".join(duty.where), duty.tag + (f"; {duty.note}" * bool(duty.note)))
        for duty in _DUTIES
    ]
    return _markdown(("rule", "asks for", "met by", "how it is known"), rows)


def _markdown(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)
